"""One shape for every complaint about a file, a rule or an entry, and the one way to refuse with it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong, where, and what to do about it.

    `place` names the file or source, `key` the field (dotted), `line` its line where known; `found` and `expected`
    are said in the words of the file; `remedy` tells the person what to change. Where nothing definite was
    expected, `found` says what happened (`cannot be read (Permission denied)`).
    """

    place: str
    key: str
    line: int | None
    found: str
    expected: str
    remedy: str

    @property
    def sentence(self) -> str:
        """Return the whole complaint as one sentence."""
        place = self.place if self.line is None else f"{self.place}, line {self.line}"
        head = ", ".join(part for part in (place, self.key) if part)
        said = f"found {self.found}, expected {self.expected}" if self.expected else self.found
        whole = f"{f'{head}: ' if head else ''}{said}{f'; {self.remedy}' if self.remedy else ''}"
        return whole if whole.endswith("?") else f"{whole}."


class Refused(Exception):
    """What was given cannot be used; nothing was half-done. Raised anywhere, printed at the edge.

    `problems` are told together; `head` is a line above them.
    """

    def __init__(self, *problems: Problem, head: str = "") -> None:
        super().__init__("\n".join((*([head] if head else []), *(problem.sentence for problem in problems))))
        self.problems = problems
        self.head = head

    def __reduce__(self) -> tuple[object, ...]:
        """Return what makes the same one again in another process."""
        return (_again, (type(self), self.problems, self.head))


class CannotBeDone(Refused):
    """What was given is sound, and still what was asked for cannot be done."""


def refused(place: str, found: str, expected: str, remedy: str, key: str = "") -> Refused:
    """Return a refusal of one problem built from its parts; see `Problem` for what each says."""
    return Refused(Problem(place, key, None, found, expected, remedy))


def cannot(place: str, what: str, remedy: str = "") -> CannotBeDone:
    """Return that something cannot be done: `what` says what happened."""
    return CannotBeDone(Problem(place, "", None, what, "", remedy))


def sentences(problems: Iterable[Problem]) -> str:
    """Return the problems as text, one sentence a line."""
    return "\n".join(problem.sentence for problem in problems)


def _again(kind: type[Refused], problems: tuple[Problem, ...], head: str) -> Refused:
    made = kind.__new__(kind)
    Refused.__init__(made, *problems, head=head)
    return made
