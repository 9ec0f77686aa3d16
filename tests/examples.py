"""The example children, read once a run."""

from __future__ import annotations

import datetime
from functools import cache
from pathlib import Path

from pathway.casefile import read_case
from pathway.plan.model import Plan
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.record import Record
from tests.made_once import made_once

FOLDER = Path(__file__).parents[1] / "example_patients"
FILES = tuple(sorted(path for path in FOLDER.glob("*.toml") if not path.name.startswith("_")))
NAMES = tuple(path.stem for path in FILES)
ON = datetime.date(2026, 11, 25)
"""A day after every example's last visit."""
SIZES = tuple(
    part
    for name, mm in (
        ("neck_width", 17),
        ("neck_wire_length", 36),
        ("femoral_neck_length", 28),
        ("femoral_shaft_width", 16),
    )
    for part in ("--set", f"{name}_mm={mm}")
)
"""What the page for the operating table needs beside the case."""


@cache
def example(name: str) -> Record:
    text = (FOLDER / f"{name}.toml").read_text(encoding="utf-8")
    record = read_case(text, f"{name}.toml", load_protocol())
    assert isinstance(record, Record), record
    return record


@cache
def example_plan(name: str) -> Plan:
    return made_once(Question(example(name), load_protocol(), ON))
