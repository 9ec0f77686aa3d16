"""Taking a child in: a case file read, and lengths that cannot be refused by name."""

from __future__ import annotations

import datetime
from dataclasses import replace

from pathway.casefile import read_case
from pathway.growth import growth_faults
from pathway.problems import Problem
from pathway.protocol.model import Protocol
from pathway.record import Record


def read_and_check(
    text: str, name: str, protocol: Protocol, on: datetime.date | None = None
) -> Record | tuple[Problem, ...]:
    """Return the record of a case file, or every fault: of the file first, then of lengths that cannot be."""
    record = read_case(text, name, protocol, on)
    if not isinstance(record, Record):
        return record
    faults = growth_faults(record, protocol)
    return tuple(replace(fault, place=f"{name}, {fault.place}") for fault in faults) or record
