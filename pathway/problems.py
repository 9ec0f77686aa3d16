"""One shape for every complaint about a file, a rule or an entry."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong, where, and what to do about it.

    `where` names the file or source, `key` the field (dotted), `line` its line where known; `found` and
    `expected` are said in the words of the file; `do` tells the person what to change.
    """

    where: str
    key: str
    line: int | None
    found: str
    expected: str
    do: str

    @property
    def sentence(self) -> str:
        """Return the whole complaint as one sentence."""
        place = self.where if self.line is None else f"{self.where}, line {self.line}"
        key = f", {self.key}" if self.key else ""
        return f"{place}{key}: found {self.found}, expected {self.expected}; {self.do}."


def sentences(faults: tuple[Fault, ...]) -> str:
    """Return the faults as text, one sentence a line."""
    return "\n".join(fault.sentence for fault in faults)
