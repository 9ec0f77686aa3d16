"""What goes wrong with a registry, said to a person."""

from __future__ import annotations

from pathway.problems import Problem, Refused


class RegistryProblem(Refused):
    """The registry could not do what was asked; nothing was half-written. The text is one sentence with a remedy."""


def problem(place: str, found: str, expected: str, remedy: str, key: str = "") -> RegistryProblem:
    """Return a problem built from its parts; see `Problem` for what each says."""
    return RegistryProblem(Problem(place, key, None, found, expected, remedy))
