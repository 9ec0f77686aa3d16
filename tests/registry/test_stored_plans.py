"""Plans kept for lists: beside the journal, replaced and dropped freely."""

from __future__ import annotations

import dataclasses
import datetime

from pathway.registry.journal.entry import StoredPlan
from pathway.registry.journal.payloads import decision_entry
from pathway.registry.verifying import verify
from tests.registry.keeping import keep, wish

ON = datetime.date(2026, 11, 25)


def test_a_stored_plan_is_read_as_it_was_kept_and_replaced_by_the_next(store) -> None:
    plan = StoredPlan("maple-01", keep(store, "maple-01"), "0.3.0", "d" * 64, ON, {"next": "Hüfte"}, '{"a": 1}')
    store.store_plans([plan])
    assert store.stored_plan("maple-01") == plan
    assert store.stored_plans(whole=True) == (plan,)
    assert store.stored_plans() == (dataclasses.replace(plan, plan_json=None),)
    later = dataclasses.replace(plan, protocol_version="0.4.0")
    store.store_plans([later])
    assert store.stored_plans(whole=True) == (later,)


def test_a_plan_shows_that_the_chain_has_grown_since(store) -> None:
    head = keep(store, "maple-01")
    store.store_plans([StoredPlan("maple-01", head, "0.3.0", "d" * 64, ON, {})])
    store.append("maple-01", decision_entry(wish(), "a"), seen=head, when=store.entries("maple-01")[0].when)
    (line,), (plan,) = store.children(), store.stored_plans()
    assert plan.head != line.head


def test_dropping_stored_plans_leaves_the_journal(store) -> None:
    head = keep(store, "maple-01")
    store.store_plans([StoredPlan("maple-01", head, "0.3.0", "d" * 64, ON, {})])
    store.drop_stored_plans()
    assert store.stored_plans() == ()
    assert store.stored_plan("maple-01") is None
    assert store.head("maple-01") == head
    assert verify(store).faults == ()
