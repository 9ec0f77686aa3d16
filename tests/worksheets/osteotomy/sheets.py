"""A child with a known upper femur, and its worksheet with inputs set by hand."""

from __future__ import annotations

import datetime
from functools import lru_cache

from pathway.casefile.read import read_case
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.worksheets.case import case_of
from pathway.worksheets.osteotomy import worksheet
from pathway.worksheets.sheet import Sheet

ON = datetime.date(2026, 11, 25)
CASE = """
schema_version = 1
[child]
id = "maple-01"
date_of_birth = 2020-03-14
sex = "girl"
affected_side = "{side}"
diagnosis = "congenital_femoral_deficiency"
[[visit]]
date = 2026-11-18
method = "standing_full_length_film"
  [visit.{side}]
  {findings}
"""
FINDINGS = {
    "femur_length_mm": 240,
    "neck_shaft_angle_deg": 90,
    "femoral_version_deg": 14,
    "hilgenreiner_epiphyseal_angle_deg": 60,
    "hip_adduction_deg": 40,
    "neck_wire_length_mm": 38,
    "femoral_neck_length_mm": 34,
    "femoral_shaft_width_mm": 20,
    "leg_length_discrepancy_mm": 60,
}


@lru_cache
def _case(side, findings):
    text = CASE.format(side=side, findings="\n  ".join(f"{name} = {value}" for name, value in findings))
    record = read_case(text, "maple-01", load_protocol(), ON)
    assert not isinstance(record, tuple), record
    return case_of(Question(record, load_protocol(), ON))


def the_case(side: str = "left", without: tuple[str, ...] = ()):
    """Return what the worksheet is opened with; `without` leaves findings out."""
    return _case(side, tuple((name, value) for name, value in FINDINGS.items() if name not in without))


def sheet(side: str = "left", without: tuple[str, ...] = (), protocol=None, **settings: object) -> Sheet:
    """Return the worksheet; `without` leaves findings out, the other names are set by hand."""
    case = the_case(side, without)
    if protocol is not None:
        case = case_of(Question(case.record, protocol, ON))
    return worksheet(case, {name: str(value) for name, value in settings.items()})


def table(made: Sheet, title: str):
    """Return a table of a sheet by its title."""
    return next(table for section in made.sections for table in section.tables if table.title == title)
