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
    """What is wrong with a cell, or with a row where no heading is named; `child` is whose row it is, where known.

    `of_column`: it is told once for all cells of the column, with what the first of them holds.
    """

    row: int | None
    heading: str
    found: str
    expected: str
    do: str
    child: str = ""
    of_column: bool = False


def problems_of(faults: Iterable[TableFault], name: str) -> tuple[Problem, ...]:
    """Return the faults as problems in the order of their rows; the same fault of several rows is one."""
    alike: dict[tuple[str, ...], tuple[TableFault, list[int]]] = {}
    for fault in faults:
        found = () if fault.of_column else (fault.found,)
        _, rows = alike.setdefault((fault.heading, fault.expected, fault.do, *found), (fault, []))
        if fault.row is not None and fault.row not in rows:
            rows.append(fault.row)
    ordered = sorted(alike.values(), key=lambda one: min(one[1], default=0))
    return tuple(
        Problem(name, _key(first.heading, rows), None, first.found, first.expected, first.do) for first, rows in ordered
    )


def _key(heading: str, rows: list[int]) -> str:
    return ", ".join(part for part in (rows_words(rows), heading and f'"{heading}"') if part)


def rows_words(numbers: list[int]) -> str:
    """Return rows in words, the first ones by number; "" where there are none."""
    if len(numbers) < 2:
        return f"row {numbers[0]}" if numbers else ""
    if len(numbers) <= _SHOWN:
        return f"rows {', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"
    return f"rows {', '.join(map(str, numbers[:_SHOWN]))} and {len(numbers) - _SHOWN} more"
