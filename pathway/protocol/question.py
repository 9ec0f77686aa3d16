"""What is asked of the program: about this record, under this protocol, on this day."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # verbs that are only listed load no rules
    from pathway.protocol.model import Protocol
    from pathway.record import Record


@dataclass(frozen=True, slots=True)
class EarlierOperation:
    """An operation for length as an earlier accepted plan had it: its stage, age, amount and plates."""

    stage: str
    age_years: float
    amount_mm: float
    physes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Question:
    """One child's record, the rules to follow, and the day on which is asked."""

    record: Record
    protocol: Protocol
    on: datetime.date
    both_sides: bool = False
    """Whether the record is that of a child with two short legs, seen from one of them."""
    earlier: tuple[EarlierOperation, ...] = ()
    """The operations of the plan accepted last, if any: what is as good as the best is kept as it was."""

    def about(self, record: Record) -> Question:
        """Return the same question about another record: what was known by then, or what is wished for."""
        return replace(self, record=record)

    def as_known(self) -> Question:
        """Return the question with nothing in its record that came after its day."""
        return replace(self, record=self.record.until(self.on))


def pattern_of(question: Question) -> str:
    """Return the growth pattern of the child: its own where it has one, else that of its diagnosis."""
    child = question.record.child
    return child.growth_pattern or question.protocol.diagnosis(child.diagnosis).growth_pattern
