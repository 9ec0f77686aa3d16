"""What goes wrong with a registry, said to a person."""

from __future__ import annotations

from pathway.problems import Fault


class RegistryProblem(Exception):
    """The registry could not do what was asked; nothing was half-written. The text is one sentence with a remedy."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(fault.sentence)
        self.fault = fault


def problem(where: str, found: str, expected: str, do: str, key: str = "") -> RegistryProblem:
    """Return a problem built from its parts; see `Fault` for what each says."""
    return RegistryProblem(Fault(where=where, key=key, line=None, found=found, expected=expected, do=do))
