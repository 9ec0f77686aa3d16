"""A worksheet as it stands on its screen, kept so that it can be exported after one has left it. No screen in here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pathway.record import Record
from pathway.worksheets.case import Case
from pathway.worksheets.sheet import Kind, Sheet

AXIS = "axis"
"""Stands for the stage where a sheet is of none: that of the whole leg's axis."""


@dataclass(frozen=True, slots=True)
class SheetAsSet:
    """A sheet with what it was made of: the case, and the inputs that were typed."""

    kind: Kind
    case: Case
    typed: Mapping[str, str]
    sheet: Sheet

    @property
    def stage(self) -> str:
        """Return the stage that it is of, `AXIS` where it is of none."""
        return AXIS if self.case.stage is None else self.case.stage.id

    def holds_for(self, record: Record) -> bool:
        """Return whether it is still a sheet of what is known of the child."""
        return self.case.record == record.until(self.case.on)
