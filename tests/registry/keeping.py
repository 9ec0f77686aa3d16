"""Short ways to keep things in a registry."""

from __future__ import annotations

import datetime

from pathway.record import Decision, Record
from pathway.registry.journal.entry import NO_ENTRIES, Head, NewEntry, Saved
from pathway.registry.journal.payloads import case_entry, decision_entry, visit_entry
from pathway.registry.store import Registry
from tests.sample import ON, at_age, child, decision, visit

WHEN = datetime.datetime(2026, 11, 25, 9, 30, tzinfo=datetime.UTC)
VISIT = visit(at_age(5), {"affected.femur_length_mm": 170.0, "other.femur_length_mm": 260.0})
LATER_VISIT = visit(at_age(6), {"affected.femur_length_mm": 183.0, "other.femur_length_mm": 281.0})


def named(name: str, record: Record | None = None) -> Record:
    record = child(VISIT) if record is None else record
    return record.model_copy(update={"child": record.child.model_copy(update={"id": name})})


def wish(reason: str = "no operation in winter") -> Decision:
    return decision("decline", date=ON, stage="contralateral_growth_arrest", reason=reason)


def keep(registry: Registry, name: str, *entries: NewEntry, who: str = "first surgeon") -> Head:
    """Keep a child with a visit at five, then the entries, and return the head."""
    news = (case_entry(named(name), who), *entries)
    for number, one in enumerate(news):
        saved = registry.append(name, one, seen=registry.head(name) if number else NO_ENTRIES, when=WHEN)
        assert isinstance(saved, Saved)
    return saved.head


def keep_four(registry: Registry, name: str) -> Head:
    """Keep a child with four entries: a case, a visit and two wishes."""
    wishes = (decision_entry(wish("one"), "nurse"), decision_entry(wish("two"), "nurse"))
    return keep(registry, name, visit_entry(LATER_VISIT, "second surgeon"), *wishes)
