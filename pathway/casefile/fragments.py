"""What is entered at a follow-up, as the tables of a case file: from `name=value` words or from fields of a form."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence

from pathway.casefile.visits import SKELETAL as SKELETAL
from pathway.casefile.visits import SKELETAL_AGE as SKELETAL_AGE
from pathway.casefile.visits import SKELETAL_METHOD as SKELETAL_METHOD
from pathway.casefile.write import plain
from pathway.problems import Problem

SIDES = ("left", "right", "child")


def values_of(settings: Sequence[str]) -> dict[str, object] | Problem:
    """Return the values by name of words such as `left.femur_length_mm=183`, or the fault of a word.

    `child.` stands before findings of the whole child, nothing before those of the skeletal age.
    """
    values: dict[str, object] = {}
    for word in settings:
        name, equals, value = (part.strip() for part in word.partition("="))
        side, _, _ = name.rpartition(".")
        if not equals or not value or (side not in SIDES and name not in SKELETAL):
            wanted = "side.finding=value, such as left.femur_length_mm=183"
            return Problem("--set", "", None, f'"{word}"', wanted, "write left., right. or child. before the finding")
        if name in values:
            return Problem("--set", name, None, f'"{word}"', "each finding once", "remove one of the two")
        values[name] = _typed(value)
    return values


def visit_table(
    date: datetime.date,
    method: str,
    values: Mapping[str, object],
    own_methods: Mapping[str, str] | None = None,
    missing: Mapping[str, str] | None = None,
) -> dict[str, object]:
    """Return a visit as a table of a case file, its findings by `side.finding`.

    `own_methods` names the method of a finding that was not measured by that of the visit, `missing` why a finding
    that was asked for was not obtained.
    """
    own = own_methods or {}
    table: dict[str, object] = {"date": date, "method": method}
    sides: dict[str, dict[str, object]] = {}
    for name, value in values.items():
        side, dot, finding = name.rpartition(".")
        if not dot:
            table[name] = plain(value)
        else:
            found = {"value": plain(value), "method": own[name]} if name in own else plain(value)
            sides.setdefault(side, {})[finding] = found
    for name, why in (missing or {}).items():
        side, _, finding = name.rpartition(".")
        sides.setdefault(side, {})[finding] = {"not_measured": why}
    return {**table, **sides}


def filled(fields: Mapping[str, object]) -> dict[str, object]:
    """Return an operation or a decision as a table of a case file, without the fields that nothing is said of."""
    return {name: plain(value) for name, value in fields.items() if value is not None and value != ()}


def _typed(value: str) -> object:
    """Return what a word means: numbers, true and false as such, everything else as text."""
    if value in ("true", "false"):
        return value == "true"
    try:
        return float(value)
    except ValueError:
        return value
