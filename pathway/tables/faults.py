"""Faults of a table by row and cell, and said together where the same is wrong in several rows."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from pathway.problems import Problem

_SHOWN = 4


@dataclass(frozen=True, slots=True)
class Place:
    """Where something stands in a table: the row, the heading of its column, and what the cell says."""

    row: int
    heading: str
    text: str = ""


@dataclass(frozen=True, slots=True)
class TableFault:
    """What is wrong with a cell, or with a row where no heading is named; `child` is whose row it is, where known."""

    row: int | None
    heading: str
    found: str
    expected: str
    do: str
    child: str = ""


def problems_of(faults: Iterable[TableFault], name: str) -> tuple[Problem, ...]:
    """Return the faults as problems in the order of their rows; the same fault of several rows is one."""
    rows: dict[tuple[str, str, str, str], list[int]] = {}
    for fault in faults:
        key = (fault.heading, fault.found, fault.expected, fault.do)
        rows.setdefault(key, [])
        if fault.row is not None and fault.row not in rows[key]:
            rows[key].append(fault.row)
    ordered = sorted(rows.items(), key=lambda one: min(one[1], default=0))
    return tuple(
        Problem(name, ", ".join(part for part in (_rows(numbers), heading and f'"{heading}"') if part), None, *said)
        for (heading, *said), numbers in ordered
    )


def _rows(numbers: list[int]) -> str:
    if len(numbers) < 2:
        return f"row {numbers[0]}" if numbers else ""
    if len(numbers) <= _SHOWN:
        return f"rows {', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"
    return f"rows {', '.join(map(str, numbers[:_SHOWN]))} and {len(numbers) - _SHOWN} more"
