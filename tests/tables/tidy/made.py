"""Rows and dictionaries for tests, of example children and of plans as a registry keeps them."""

from __future__ import annotations

import datetime
from functools import cache
from typing import Any

from pathway.protocol.load import load_protocol
from pathway.record import Record
from pathway.tables.tidy.fields import Kind, fields_of
from pathway.tables.tidy.rows import AcceptedPlan, Kept, Value, rows_of_child
from tests.examples import ON, example, example_plan

LATER = datetime.date(2026, 12, 1)


def kept(record: Record, *plans: AcceptedPlan, on: datetime.date = LATER) -> Kept:
    return Kept(record, plans, load_protocol(), on)


@cache
def plan_data(name: str) -> dict[str, Any]:
    return example_plan(name).model_dump(mode="json")


def accepted(name: str, number: int = 1, on: datetime.date = ON) -> AcceptedPlan:
    data = plan_data(name)
    return AcceptedPlan(number, on, on, data["protocol"]["version"], True, data)


def rows(kind: Kind, child: Kept, *, dates: bool = False) -> list[dict[str, Value]]:
    names = [field.name for field in fields_of(kind, dates=dates)]
    return [dict(zip(names, row, strict=True)) for row in rows_of_child(kind, child, dates=dates)]


def of_name(name: str, *plans: AcceptedPlan) -> Kept:
    return kept(example(name), *plans)
