"""Who needs what by when: page by page from an index, and no child hidden by a plan that was altered or damaged."""

from __future__ import annotations

import datetime
import json
from typing import Any

import pytest
from sqlalchemy import delete, insert, select, update

from pathway.problems import Refused
from pathway.questions.due import due
from pathway.registry import due_list, stored_due, stored_plans
from pathway.registry.db.due_tables import DUE_TABLES, due_item, planned
from pathway.registry.db.tables import plan_roll, stored_plan
from pathway.registry.due_list import After, due_page, place_after, standings
from pathway.registry.erasure import erase
from pathway.registry.journal.entry import StoredPlan
from pathway.registry.journal.payloads import decision_entry
from pathway.registry.problem import problem
from pathway.registry.store import Registry
from pathway.registry.sweeping import sweep
from pathway.registry.verifying import verify
from tests.registry.keeping import WHEN, keep, wish

ON = datetime.date(2026, 11, 25)
NAMES = ("ash-1", "birch-2", "cedar-3")


def summary(**others: Any) -> dict[str, Any]:
    """What is kept of a plan with a visit, a measurement, an examination, two windows and an arrest."""
    return {
        "see_again_by": "2026-10-01",
        "measure": [{"what": "hip film", "by": "2026-12-01"}],
        "examine": [{"stage": "Hip film", "on": "2026-12-24"}],
        "opens": [{"stage": "Hip", "on": "2026-11-01"}, {"stage": "Femur", "on": "2026-12-24"}],
        "arrest_last": "2031-01-01",
        "conflict": False,
        "changes_on": "2026-12-01",
        **others,
    }


def put(store: Registry, name: str, kept: dict[str, Any] | None = None) -> StoredPlan:
    plan = StoredPlan(name, keep(store, name), "1", "d" * 64, ON, summary() if kept is None else kept)
    store.store_plans([plan])
    return plan


def whole(store: Registry, on: datetime.date = ON, months: int = 3) -> list[tuple[str, str, str, bool]]:
    page = due_page(store, on, months, 1000)
    assert page.after is None
    return [(str(one.by), one.child, one.what, one.overdue) for one in page.items]


def state(store: Registry) -> dict[str, tuple[bool, str]]:
    return {one.line.child: (one.holds(ON), one.fault) for one in standings(store)}


@pytest.fixture
def three(store: Registry) -> Registry:
    for name in NAMES:
        put(store, name)
    return store


class TestPages:
    def test_the_index_tells_what_the_plans_say(self, three) -> None:
        said = [one for name in NAMES for one in due(name, summary(), ON, 3)]
        wanted = sorted(said, key=lambda one: (one.by, one.child, one.what))
        assert whole(three) == [(str(one.by), one.child, one.what, one.overdue) for one in wanted]
        assert whole(three)[0] == ("2026-10-01", "ash-1", "follow-up visit", True)

    def test_a_window_that_has_opened_is_told_until_its_day_and_what_lies_further_ahead_is_not(self, three) -> None:
        assert "window opens: Femur" in {what for _, _, what, _ in whole(three, datetime.date(2026, 12, 24))}
        assert "window opens: Femur" not in {what for _, _, what, _ in whole(three, datetime.date(2026, 12, 25))}
        assert {by for by, *_ in whole(three, months=0)} == {"2026-10-01"}

    @pytest.mark.parametrize("most", [1, 2, 5])
    def test_pages_follow_each_other_without_gap_or_double(self, three, most) -> None:
        found, after, left = [], None, None
        while True:
            page = due_page(three, ON, 3, most, after)
            assert left is None or left == len(page.items) + page.left
            found += [(str(one.by), one.child, one.what, one.overdue) for one in page.items]
            after, left = page.after, page.left
            if after is None:
                break
            assert len(page.items) == most
            assert place_after(str(after)) == after
        assert found == whole(three)

    def test_a_child_stored_between_two_pages_shifts_none_of_the_others(self, three) -> None:
        first = due_page(three, ON, 3, 4)
        put(three, "alder-0")
        rest = due_page(three, ON, 3, 1000, first.after)
        assert {"ash-1", "birch-2", "cedar-3"} <= {one.child for one in rest.items}
        assert not set(first.items) & set(rest.items)

    @pytest.mark.parametrize("text", ["", "2026-12-24", "2026-12-24/ash-1", "2026-13-01/ash-1/1", "x/ash-1/1"])
    def test_another_text_than_a_place_is_refused_in_a_sentence(self, text) -> None:
        with pytest.raises(Refused, match="--after: found"):
            place_after(text)

    def test_rules_in_conflict_are_told_whatever_the_day(self, store) -> None:
        put(store, "ash-1", summary(conflict=True))
        told = ("2026-11-25", "ash-1", "cannot be planned: rules contradict each other", True)
        assert told in whole(store)
        assert told in whole(store, datetime.date(2027, 1, 5), 0)


class TestIndexMissing:
    def test_it_is_filled_from_the_plans(self, three) -> None:
        before = whole(three)
        with three.writing() as connection:
            DUE_TABLES.drop_all(connection)
        assert state(three) == dict.fromkeys(NAMES, (True, ""))
        assert whole(three) == before
        with three.reading() as connection:
            assert len(connection.execute(planned.select()).all()) == len(NAMES)

    def test_storing_one_plan_fills_it_for_all_that_were_stored_before(self, three) -> None:
        with three.writing() as connection:
            DUE_TABLES.drop_all(connection)
        put(three, "dogwood-4")
        assert state(three) == dict.fromkeys((*NAMES, "dogwood-4"), (True, ""))

    def test_where_it_cannot_be_written_the_plans_are_read(self, three, monkeypatch) -> None:
        def refuse(_registry: Registry) -> None:
            raise problem("registry", "a read-only place", "a writable one", "check it")

        pages = [due_page(three, ON, 3, most, after) for most in (4, 99) for after in (None, After(ON, "b", 1))]
        with three.writing() as connection:
            DUE_TABLES.drop_all(connection)
        monkeypatch.setattr(due_list, "fill_where_missing", refuse)
        again = [due_page(three, ON, 3, most, after) for most in (4, 99) for after in (None, After(ON, "b", 1))]
        assert again == pages

    def test_a_registry_without_any_plan_has_nothing_due_and_every_child_to_plan(self, store) -> None:
        keep(store, "ash-1")
        assert whole(store) == []
        assert state(store) == {"ash-1": (False, "")}


class TestDamage:
    """Each way of altering what lies in the database leaves the child on the list of those to be planned again."""

    @pytest.mark.parametrize(
        "values",
        [
            {"summary": "{}"},
            {"summary": "{"},
            {"summary": '{"see_again_by": "2099-01-01"}'},
            {"on_day": "someday"},
            {"on_day": "2026-11-26"},
            {"head_sha256": "f" * 64},
            {"protocol_digest": "e" * 64},
        ],
        ids=str,
    )
    def test_an_altered_plan_is_told_and_hides_nothing(self, three, values) -> None:
        before = whole(three)
        with three.writing() as connection:
            connection.execute(update(stored_plan).where(stored_plan.c.child == "birch-2").values(**values))
        assert state(three) == {
            "ash-1": (True, ""),
            "birch-2": (False, "it is not what was stored"),
            "cedar-3": (True, ""),
        }
        assert whole(three) == before

    @pytest.mark.parametrize(
        "change",
        [
            delete(due_item).where(due_item.c.child == "birch-2", due_item.c.number == 1),
            delete(due_item).where(due_item.c.child == "birch-2"),
            update(due_item).where(due_item.c.child == "birch-2").values(by_day=datetime.date(2099, 1, 1).toordinal()),
            update(due_item).where(due_item.c.child == "birch-2").values(by_day=-7),
            update(due_item).where(due_item.c.child == "birch-2").values(child="birch-9"),
        ],
        ids=["one row", "every row", "other days", "no day", "another child"],
    )
    def test_what_is_missing_or_moved_in_the_index_is_told(self, three, change) -> None:
        with three.writing() as connection:
            connection.execute(change)
        assert {"ash-1", "cedar-3"} <= {child for _, child, *_ in whole(three)}
        assert state(three)["birch-2"] == (False, "what it asks for is not what was stored")
        assert state(three)["ash-1"] == (True, "")

    def test_a_plan_that_was_taken_away_is_told(self, three) -> None:
        with three.writing() as connection:
            connection.execute(delete(stored_plan).where(stored_plan.c.child == "birch-2"))
        assert state(three)["birch-2"] == (False, "it is missing, though it was stored")

    def test_a_plan_without_its_mark_is_not_relied_on(self, three) -> None:
        with three.writing() as connection:
            connection.execute(delete(planned).where(planned.c.child == "birch-2"))
        assert state(three)["birch-2"] == (False, "it is not what was stored")

    def test_days_exchanged_between_two_rows_are_told(self, three) -> None:
        with three.writing() as connection:
            for number, by in ((1, 30), (2, -30)):
                moved = update(due_item).where(due_item.c.child == "birch-2", due_item.c.number == number)
                connection.execute(moved.values(by_day=due_item.c.by_day + by))
        assert state(three)["birch-2"] == (False, "what it asks for is not what was stored")

    def test_a_plan_altered_with_its_mark_and_what_it_asks_for_is_told(self, three) -> None:
        before = whole(three)
        with three.writing() as connection:
            of_child = stored_plan.c.child == "birch-2"
            connection.execute(update(stored_plan).where(of_child).values(summary=json.dumps(summary(measure=[]))))
            row = connection.execute(select(stored_plan).where(of_child)).mappings().one()
            stored_due.put(connection, [("birch-2", stored_plans.row_digest(row), stored_due.read(row))])
        assert state(three) == {
            "ash-1": (True, ""),
            "birch-2": (False, "no workstation of this registry signed it"),
            "cedar-3": (True, ""),
        }
        put(three, "dogwood-4")
        assert {name for name, (holds, _) in state(three).items() if not holds} == {"birch-2"}
        assert [one for one in whole(three) if one[1] != "dogwood-4"] == [one for one in before if one[1] != "birch-2"]

    def test_a_plan_that_lost_its_mark_and_roll_needs_its_own_signature(self, three) -> None:
        with three.writing() as connection:
            connection.execute(delete(plan_roll))
        assert state(three) == dict.fromkeys(NAMES, (True, ""))

    def test_what_is_kept_of_nobody_is_swept_away(self, three) -> None:
        with three.writing() as connection:
            connection.execute(insert(due_item).values(child="x", number=1, by_day=739000, kind="visit", what="visit"))
        assert [fault.key for fault in verify(three).faults] == ["x"]
        assert sweep(three, who="a", when=WHEN).done
        assert verify(three).faults == ()

    def test_a_damaged_plan_of_a_registry_without_index_is_told(self, three) -> None:
        with three.writing() as connection:
            DUE_TABLES.drop_all(connection)
            connection.execute(update(stored_plan).where(stored_plan.c.child == "birch-2").values(summary="{"))
        assert state(three)["birch-2"] == (False, "it cannot be read")
        assert {child for _, child, *_ in whole(three)} == {"ash-1", "cedar-3"}
        assert state(three)["birch-2"][0] is False

    def test_planning_again_mends_it(self, three) -> None:
        plan = three.stored_plan("birch-2")
        with three.writing() as connection:
            connection.execute(update(stored_plan).values(summary="{"))
            connection.execute(delete(due_item))
        assert three.stored_plans() == ()
        three.store_plans([plan])
        assert state(three)["birch-2"] == (True, "")

    def test_a_summary_of_another_form_is_kept_and_not_relied_on(self, store) -> None:
        plan = put(store, "ash-1", {"next": "Hip"})
        assert store.stored_plan("ash-1") == plan
        assert state(store) == {"ash-1": (False, "")}


class TestTrueUntil:
    @pytest.mark.parametrize(("day", "true"), [(24, False), (25, True), (30, True)])
    def test_from_its_day_on(self, three, day, true) -> None:
        assert {one.holds(datetime.date(2026, 11, day)) for one in standings(three)} == {true}

    def test_until_the_first_day_that_it_names(self, three) -> None:
        assert {one.holds(datetime.date(2026, 12, 1)) for one in standings(three)} == {False}

    def test_until_entries_are_added(self, three) -> None:
        head = three.head("birch-2")
        three.append("birch-2", decision_entry(wish(), "a"), seen=head, when=WHEN)
        assert {name for name, (holds, _) in state(three).items() if not holds} == {"birch-2"}


def test_children_come_by_name_in_steps_of_any_size(three, monkeypatch) -> None:
    for size in (1, 2, 3):
        monkeypatch.setattr(due_list, "BATCH", size)
        assert [one.line.child for one in standings(three)] == list(NAMES)


def test_of_an_erased_child_nothing_is_left(three) -> None:
    erase(three, "birch-2", reason="asked for", who="a", when=WHEN)
    with three.reading() as connection:
        for table in (due_item, planned):
            assert "birch-2" not in {row.child for row in connection.execute(table.select())}
    assert [one.line.child for one in standings(three)] == ["ash-1", "cedar-3"]
    (gone,) = [one for one in standings(three, erased=True) if one.line.erased]
    assert (gone.line.child, gone.fault, gone.plan) == ("birch-2", "", None)


def test_dropping_the_plans_empties_the_index(three) -> None:
    three.drop_stored_plans()
    assert whole(three) == []
    assert state(three) == dict.fromkeys(NAMES, (False, ""))
