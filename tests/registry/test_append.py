"""Entries are added, never changed; two people who save at a time do not overwrite each other."""

from __future__ import annotations

import datetime

import pytest
from sqlalchemy import text

from pathway.record import CaseCalendar
from pathway.registry.db.failures import translating_db_errors
from pathway.registry.journal.entry import NO_ENTRIES, Head, Saved, StaleHead
from pathway.registry.journal.fold import parts_of
from pathway.registry.journal.payloads import (
    Revision,
    calendar_entry,
    case_entry,
    correction_entry,
    decision_entry,
    operation_entry,
    revision_entry,
    visit_entry,
    withdrawal_entry,
)
from pathway.registry.problem import RegistryProblem
from pathway.registry.verifying import verify
from tests.registry.keeping import LATER_VISIT, VISIT, WHEN, keep, keep_four, named, wish
from tests.sample import at_age, operation, visit


def test_a_case_kept_is_the_record_read(store) -> None:
    keep(store, "maple-01")
    assert store.record("maple-01") == named("maple-01")


def test_an_entry_says_who_when_what_and_what_came_before(store) -> None:
    keep(store, "maple-01", visit_entry(LATER_VISIT, "second surgeon"))
    first, second = store.entries("maple-01")
    assert (first.sequence, second.sequence) == (1, 2)
    assert (second.who, second.when, second.kind, second.schema_version) == ("second surgeon", WHEN, "visit", 1)
    assert first.previous_sha256 == "0" * 64
    assert second.previous_sha256 == first.sha256


def test_visits_operations_wishes_and_a_calendar_add_to_the_record(store) -> None:
    done = operation("hip_preparation", at_age(5.5))
    weekdays = CaseCalendar(operating_weekdays=("tuesday",))
    keep(
        store,
        "maple-01",
        visit_entry(LATER_VISIT, "a"),
        operation_entry(done, "a"),
        decision_entry(wish(), "a"),
        calendar_entry(weekdays, "a"),
    )
    record = store.record("maple-01")
    assert record.visits == (VISIT, LATER_VISIT)
    assert record.operations == (done,)
    assert record.decisions == (wish(),)
    assert record.calendar == weekdays


def test_a_moment_of_another_zone_is_kept_as_utc(store) -> None:
    zone = datetime.timezone(datetime.timedelta(hours=2))
    store.append("maple-01", case_entry(named("maple-01"), "a"), seen=NO_ENTRIES, when=WHEN.astimezone(zone))
    assert store.entries("maple-01")[0].when == WHEN
    assert store.entries("maple-01")[0].when.utcoffset() == datetime.timedelta(0)


def test_a_correction_supersedes_and_both_stay_readable(store) -> None:
    right = visit(at_age(6), {"affected.femur_length_mm": 181.0})
    keep(store, "maple-01", visit_entry(LATER_VISIT, "a"), correction_entry(2, right, "misread", "b"))
    assert store.record("maple-01").visits == (VISIT, right)
    assert store.entries("maple-01")[1].payload["visit"]["measurements"][0]["value"] == 183.0
    assert store.entries("maple-01")[2].payload["reason"] == "misread"


def test_a_correction_may_be_corrected_and_an_entry_taken_back(store) -> None:
    wrong, right = (visit(at_age(6), {"affected.femur_length_mm": mm}) for mm in (118.0, 181.0))
    keep(
        store,
        "maple-01",
        visit_entry(LATER_VISIT, "a"),
        correction_entry(2, wrong, "misread", "b"),
        correction_entry(3, right, "digits", "b"),
        decision_entry(wish(), "a"),
        withdrawal_entry(5, "other child", "a"),
    )
    assert store.record("maple-01").visits == (VISIT, right)
    assert store.record("maple-01").decisions == ()


def test_a_visit_inside_an_imported_case_is_corrected_with_the_case(store) -> None:
    right = named("maple-01").model_copy(update={"visits": (LATER_VISIT,)})
    keep(store, "maple-01", decision_entry(wish(), "a"), correction_entry(1, right, "wrong day", "b"))
    assert store.record("maple-01").visits == (LATER_VISIT,)
    assert store.record("maple-01").decisions == (wish(),)


def test_what_a_later_case_replaced_is_no_part_of_the_record_and_cannot_be_corrected(store) -> None:
    later = case_entry(named("maple-01"), "b")
    head = keep(store, "maple-01", visit_entry(LATER_VISIT, "a"), later)
    assert [part.sequence for part in parts_of(store.entries("maple-01"))] == [3]
    with pytest.raises(RegistryProblem, match="entry 2, which the case of entry 3 replaced"):
        store.append("maple-01", withdrawal_entry(2, "wrong", "a"), seen=head, when=WHEN)


def test_an_accepted_plan_is_kept_whole_and_is_no_part_of_the_record(store) -> None:
    plan = {"schema_version": 1, "stages": [{"id": "hip_preparation", "amount_mm": 0.1 + 0.2}]}
    kept = Revision(plan=plan, on=at_age(5), protocol_version="0.3.0", recommended=False, reason="family wish")
    keep(store, "maple-01", revision_entry(kept, "a"))
    assert store.entries("maple-01")[1].payload["plan"] == plan
    assert store.record("maple-01") == named("maple-01")


def test_the_second_to_save_is_told_who_saved_what_and_nothing_is_overwritten(store) -> None:
    seen = keep(store, "maple-01")
    first = store.append("maple-01", visit_entry(LATER_VISIT, "first"), seen=seen, when=WHEN)
    assert isinstance(first, Saved)
    second = store.append("maple-01", decision_entry(wish(), "second"), seen=seen, when=WHEN)
    assert isinstance(second, StaleHead)
    assert [(entry.who, entry.kind) for entry in second.since] == [("first", "visit")]
    assert second.head == first.head == store.head("maple-01")
    again = store.append("maple-01", decision_entry(wish(), "second"), seen=second.head, when=WHEN)
    assert isinstance(again, Saved)
    assert store.record("maple-01").visits == (VISIT, LATER_VISIT)
    assert store.record("maple-01").decisions == (wish(),)


def test_two_who_make_the_same_child_do_not_overwrite_each_other(store) -> None:
    keep(store, "maple-01", who="first")
    second = store.append("maple-01", case_entry(named("maple-01"), "second"), seen=NO_ENTRIES, when=WHEN)
    assert isinstance(second, StaleHead)
    assert [entry.who for entry in second.since] == ["first"]


def test_several_entries_are_kept_together_or_not_at_all(store) -> None:
    seen = keep(store, "maple-01")
    both = (visit_entry(LATER_VISIT, "a"), decision_entry(wish(), "a"))
    saved = store.append("maple-01", both, seen=seen, when=WHEN)
    assert isinstance(saved, Saved)
    assert saved.head.count == 3
    bad = (decision_entry(wish(), "a"), visit_entry(LATER_VISIT, "a"))
    with pytest.raises(RegistryProblem, match="second visit"):
        store.append("maple-01", bad, seen=saved.head, when=WHEN)
    assert store.head("maple-01") == saved.head


REFUSED = {
    "a visit before the child": ("oak-01", visit_entry(LATER_VISIT, "a"), "not imported"),
    "a second visit of a day": ("maple-01", visit_entry(VISIT, "a"), "second visit on"),
    "a record of another child": ("maple-01", case_entry(named("oak-01"), "a"), "the record of oak-01"),
    "a correction of nothing": ("maple-01", withdrawal_entry(7, "wrong", "a"), "corrects entry 7"),
    "a case taken back": ("maple-01", withdrawal_entry(1, "wrong", "a"), "withdraws a whole case"),
    "a case corrected by a visit": (
        "maple-01",
        correction_entry(1, VISIT, "wrong", "a"),
        "corrects a record by a visit",
    ),
    "a correction without reason": ("maple-01", withdrawal_entry(1, " ", "a"), "no reason"),
    "nobody": ("maple-01", decision_entry(wish(), ""), "for who made it"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_an_entry_that_does_not_fit_is_refused_in_a_sentence_and_nothing_is_kept(store, name) -> None:
    keep(store, "maple-01")
    child, entry, words = REFUSED[name]
    seen = store.head(child)
    with pytest.raises(RegistryProblem, match=words) as caught:
        store.append(child, entry, seen=seen, when=WHEN)
    assert ", expected " in str(caught.value)
    assert store.head(child) == seen


def test_a_chain_that_no_longer_holds_what_was_read_is_told(store) -> None:
    keep(store, "maple-01")
    for seen in (Head(9, "a" * 64), Head(1, "a" * 64)):
        with pytest.raises(RegistryProblem, match="do not hold what was read"):
            store.append("maple-01", decision_entry(wish(), "a"), seen=seen, when=WHEN)


@pytest.mark.parametrize(
    "statement",
    ["UPDATE entry SET who = 'x'", "DELETE FROM entry", "UPDATE payload SET body = '{}'"],
)
def test_the_database_itself_refuses_to_change_what_was_kept(store, statement) -> None:
    keep(store, "maple-01")
    with (
        pytest.raises(RegistryProblem, match="change what was kept"),
        translating_db_errors("here"),
        store.engine.begin() as connection,
    ):
        connection.execute(text(statement))
    assert verify(store).faults == ()


def test_children_are_listed_with_their_last_entry(store) -> None:
    keep(store, "oak-01")
    head = keep(store, "maple-01", visit_entry(LATER_VISIT, "second surgeon"))
    first, second = store.children()
    assert (first.child, second.child) == ("maple-01", "oak-01")
    assert (first.head, first.last_by, first.last, first.erased) == (head, "second surgeon", WHEN, None)


def test_unknown_children_have_no_record_and_no_entries(store) -> None:
    assert store.entries("maple-01") == ()
    assert store.head("maple-01") == NO_ENTRIES
    with pytest.raises(RegistryProblem, match="no child maple-01"):
        store.record("maple-01")


def test_many_children_do_not_mix(store) -> None:
    heads = {name: keep_four(store, name) for name in ("maple-01", "maple-010", "maple-1")}
    assert {line.child: line.head for line in store.children()} == heads
