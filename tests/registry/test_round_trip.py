"""Any record comes out of the registry as it went in, and is planned alike."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pathway.casefile import in_order, read_case
from pathway.plan.make import make_plan
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.record import Record
from pathway.registry.exchange import (
    export_case,
    history_json,
    import_history,
    import_record,
    read_history,
)
from pathway.registry.journal.payloads import decision_entry, visit_entry
from pathway.registry.problem import RegistryProblem
from pathway.registry.store import open_registry
from pathway.registry.verifying import verify
from tests.casefile.test_round_trip import records
from tests.outside.properties.records import records as children
from tests.registry.keeping import LATER_VISIT, VISIT, WHEN, keep, named, wish
from tests.sample import child

_numbers = itertools.count()
SHARED = settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
PLANNED = settings(deadline=None, max_examples=6, suppress_health_check=[HealthCheck.function_scoped_fixture])


def renamed(record: Record) -> Record:
    return named(f"child-{next(_numbers)}", record)


@SHARED
@given(records())
def test_a_record_taken_in_exported_and_taken_in_elsewhere_is_identical(store, tmp_path, protocol, record) -> None:
    record = renamed(record)
    assert import_record(store, record, who="a", when=WHEN).what == "new"
    assert store.record(record.child.id) == in_order(record)
    again = read_case(export_case(store, record.child.id), "case.toml", protocol)
    assert again == in_order(record)
    with open_registry(str(tmp_path / "elsewhere.db"), create=True) as elsewhere:
        import_record(elsewhere, again, who="b", when=WHEN)
        assert elsewhere.record(record.child.id) == store.record(record.child.id)


@SHARED
@given(records())
def test_the_same_record_a_second_time_adds_nothing(store, record) -> None:
    record = renamed(record)
    first = import_record(store, record, who="a", when=WHEN)
    second = import_record(store, record, who="b", when=WHEN)
    assert (second.what, second.entries, second.head) == ("nothing", 0, first.head)


@PLANNED
@given(st.data())
def test_the_plan_is_identical_after_a_round_trip(tmp_path, data) -> None:
    protocol = load_protocol()
    record, on = data.draw(children(protocol))
    record = in_order(renamed(record))
    with open_registry(str(tmp_path / "registry.db"), create=True) as registry:
        import_record(registry, record, who="a", when=WHEN)
        back = registry.record(record.child.id)
    assert make_plan(Question(back, protocol, on), compared=False) == make_plan(
        Question(record, protocol, on), compared=False
    )


def test_a_history_goes_to_another_registry_with_its_hashes_and_grows_there(store, tmp_path) -> None:
    keep(store, "maple-01", visit_entry(LATER_VISIT, "a"))
    sent = read_history(history_json(store, "maple-01"), "history.json")
    with open_registry(str(tmp_path / "elsewhere.db"), create=True) as elsewhere:
        assert import_history(elsewhere, sent).what == "new"
        assert import_history(elsewhere, sent).what == "nothing"
        assert elsewhere.entries("maple-01") == store.entries("maple-01")
        elsewhere.append("maple-01", decision_entry(wish(), "b"), seen=elsewhere.head("maple-01"), when=WHEN)
        back = read_history(history_json(elsewhere, "maple-01"), "history.json")
    assert (import_history(store, back).what, store.head("maple-01").count) == ("added", 3)
    assert verify(store).faults == ()


def test_histories_that_went_apart_are_refused(store, tmp_path) -> None:
    keep(store, "maple-01")
    with open_registry(str(tmp_path / "elsewhere.db"), create=True) as elsewhere:
        keep(elsewhere, "maple-01")
        other = read_history(history_json(elsewhere, "maple-01"), "history.json")
    with pytest.raises(RegistryProblem, match="other entries of maple-01"):
        import_history(store, other)


def test_an_altered_history_is_refused_by_the_entry(store) -> None:
    keep(store, "maple-01", visit_entry(LATER_VISIT, "a"))
    text = history_json(store, "maple-01").replace("183.0", "188.0")
    with pytest.raises(RegistryProblem, match=r"history\.json, maple-01, entry 2"):
        read_history(text, "history.json")


@pytest.mark.parametrize("text", ["", "[]", "{}", "3", '{"schema_version": 1, "entries": []}', "{" * 10_000])
def test_what_is_no_history_is_refused(text) -> None:
    with pytest.raises(RegistryProblem, match="something else than a history"):
        read_history(text, "history.json")


def test_a_case_with_more_adds_an_entry_for_each_new_thing(store) -> None:
    import_record(store, named("maple-01"), who="a", when=WHEN)
    more = named("maple-01", child(VISIT, LATER_VISIT, decisions=(wish(),)))
    done = import_record(store, more, who="b", when=WHEN)
    assert (done.what, done.entries) == ("added", 2)
    assert [entry.kind for entry in store.entries("maple-01")] == ["case", "visit", "decision"]
    assert store.record("maple-01") == more


def test_a_case_that_was_taken_in_before_more_was_added_adds_nothing(store) -> None:
    keep(store, "maple-01", visit_entry(LATER_VISIT, "a"))
    assert import_record(store, named("maple-01"), who="b", when=WHEN).what == "nothing"
    assert store.record("maple-01").visits == (VISIT, LATER_VISIT)


def test_a_case_that_lacks_what_is_known_is_refused_unless_it_is_to_stand_instead(store) -> None:
    keep(store, "maple-01", visit_entry(LATER_VISIT, "a"))
    other = named("maple-01", child(LATER_VISIT))
    with pytest.raises(RegistryProblem, match=rf"lacks or alters what is known \(the visit of {VISIT.date}\)"):
        import_record(store, other, who="b", when=WHEN)
    assert store.head("maple-01").count == 2
    assert import_record(store, other, who="b", when=WHEN, replace=True).what == "replaced"
    assert store.record("maple-01") == other
    assert store.entries("maple-01")[1].payload["visit"]["date"] == LATER_VISIT.date.isoformat()
