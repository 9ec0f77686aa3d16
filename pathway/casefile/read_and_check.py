"""Taking a child in: a case file read, and lengths that cannot be refused by name."""

from __future__ import annotations

import datetime
from dataclasses import replace

from pathway.casefile import read_case
from pathway.growth import growth_faults
from pathway.problems import Fault
from pathway.protocol.model import Protocol
from pathway.record import Record


def take_in(text: str, name: str, protocol: Protocol, on: datetime.date | None = None) -> Record | tuple[Fault, ...]:
    """Return the record of a case file, or every fault: of the file first, then of lengths that cannot be."""
    record = read_case(text, name, protocol, on)
    if not isinstance(record, Record):
        return record
    faults = growth_faults(record, protocol)
    return tuple(replace(fault, where=f"{name}, {fault.where}") for fault in faults) or record
