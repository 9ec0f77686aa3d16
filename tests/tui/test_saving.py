"""Children of a registry on the screens: opened, followed up, saved; others save meanwhile; the place cannot be had."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from pathway.events import Correction
from pathway.registry.db import engine
from pathway.registry.journal.fold import accepted_plans
from pathway.registry.store import Registry, open_registry
from tests.plans import DAY, files, record
from tests.tui.registry_of import SIZE, at, enter_length, open_rowan, registry, saved, told
from tests.tui.screens_of import TO_LENGTHS, settled, text_of, the_app
from tests.tui.test_followup import form_of, planned, typed
from tui.screens.children import ChildrenScreen
from tui.screens.timeline import TimelineScreen
from tui.widgets.frame import Notice


async def test_a_follow_up_is_entered_kept_undone_done_again_and_saved_with_its_plan(place) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await pilot.press(*TO_LENGTHS)
            await typed(pilot, "12.1")
            assert "did you mean 12.1 cm (121 mm)" in " ".join(text_of(app).split())
            await pilot.press("f6")
            await pilot.press("escape")
            await enter_length(pilot, "121")
            await pilot.press("ctrl+z")
            await settled(pilot)
            assert "^s Save" not in text_of(app)
            await pilot.press("ctrl+y")
            await settled(pilot)
            assert "✎ not saved" in text_of(app).split("\n")[0]
            assert "^s Save" in text_of(app)
            await pilot.press("ctrl+s")
            await saved(pilot)
            assert told(app) == "Saved in clinic.db by ward-3: visit, revision (entries 2 to 3 of rowan-02)."
            assert told(app) in " ".join(text_of(app).split())
            assert "not saved" not in text_of(app)
        entries = store.entries("rowan-02")
        assert [(one.kind, one.who) for one in entries[1:]] == [("visit", "ward-3"), ("revision", "ward-3")]
        assert store.record("rowan-02").visits[-1].measurements[0].value == 121.0
        (revision,) = [one.revision for one in accepted_plans(entries)]
        assert revision.reason == "Follow-up entered: length of the femur left 121 mm on 2026-11-25"
        assert revision.plan["on"] == str(DAY)
        assert revision.recommended
    assert "rowan-02@1" in registry(place, "revisions", "rowan-02")
    assert "2 children, 4 entries, every hash matches" in registry(place, "verify")


async def test_what_was_saved_and_then_undone_is_withdrawn_and_stays_readable(place) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await enter_length(pilot, "121")
            await pilot.press("ctrl+s")
            await saved(pilot)
            await pilot.press("ctrl+z")
            await settled(pilot)
            assert app.child_list["rowan-02"].unsaved
            await pilot.press("ctrl+s")
            await saved(pilot)
            assert not app.child_list["rowan-02"].unsaved
        assert store.record("rowan-02") == record("rowan-02")
        reasons = [one.revision.reason for one in accepted_plans(store.entries("rowan-02"))]
        assert reasons[1] == f"Undone: {reasons[0]}"
        assert [one.kind for one in store.entries("rowan-02")] == [
            "case",
            "visit",
            "revision",
            "correction",
            "revision",
        ]
    assert "every hash matches" in registry(place, "verify")


async def test_a_course_chosen_with_a_reason_is_saved_as_a_decision_and_the_plan_that_follows_it(place) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            before = app.child_list["rowan-02"].plan.recommended  # type: ignore[union-attr]
            await pilot.press("c")
            await settled(pilot)
            await pilot.press("right", "enter")
            await typed(pilot, "least time in frames")
            await pilot.press("enter")
            await settled(pilot)
            await pilot.press("ctrl+s")
            await saved(pilot)
        assert [one.kind for one in store.entries("rowan-02")] == ["case", "decision", "revision"]
        (kept,) = [one.revision for one in accepted_plans(store.entries("rowan-02"))]
        assert "least time in frames" in kept.reason
        assert not kept.recommended
        chosen = store.record("rowan-02").decisions[-1].course
        assert chosen is not None
        assert before is not None
        assert chosen != before.id
        assert [one["id"] for one in kept.plan["alternatives"] if one["recommended"]] == [chosen]


async def test_what_became_of_saving_is_said_on_every_screen(place) -> None:
    with at(place) as (app, _):
        async with app.run_test(size=SIZE, notifications=True) as pilot:
            await open_rowan(pilot)
            await enter_length(pilot, "121")
            await pilot.press("b", "ctrl+s")
            await saved(pilot)
            assert "Saved in clinic.db by ward-3: visit" in " ".join(text_of(app).split())


async def test_choosing_again_on_the_same_day_takes_the_first_choice_back(place) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            for _ in range(2):
                await pilot.press("c")
                await settled(pilot)
                await pilot.press("right", "enter")
                await typed(pilot, "so")
                await pilot.press("enter")
                await settled(pilot)
                await pilot.press("ctrl+s")
                await saved(pilot)
            decisions = app.child_list["rowan-02"].session.record.decisions  # type: ignore[union-attr]
        assert store.record("rowan-02").decisions == decisions
        assert len(decisions) == 1


OTHER = """
import datetime, sys
from pathway.record import Decision
from pathway.registry.journal.payloads import decision_entry
from pathway.registry.store import open_registry
day = datetime.date(2026, 11, 25)
wish = Decision(date=day, by="family", kind="decline", reason="no second leg", stage="contralateral_growth_arrest")
with open_registry(sys.argv[1]) as store:
    when = datetime.datetime(2026, 11, 25, 10, 0, tzinfo=datetime.UTC)
    store.append("rowan-02", decision_entry(wish, "night shift"), seen=store.head("rowan-02"), when=when)
"""


async def test_what_another_process_saved_meanwhile_is_taken_in_below_ones_own(place) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await enter_length(pilot, "121")
            subprocess.run([sys.executable, "-c", OTHER, str(place)], check=True)
            await pilot.press("ctrl+s")
            await saved(pilot)
            assert "Not saved: somebody else has saved in clinic.db in the meantime" in told(app)
            assert "decision by night shift on 2026-11-25 10:00" in told(app)
            assert "save again with Ctrl+S" in told(app)
            session = app.child_list["rowan-02"].session
            assert session is not None
            assert [one.stage for one in session.record.decisions] == ["contralateral_growth_arrest"]
            assert session.record.visits[-1].measurements[0].value == 121.0
            assert app.child_list["rowan-02"].unsaved
            plan = app.child_list["rowan-02"].plan
            assert plan is not None
            assert plan.stage("contralateral_growth_arrest").status == "optional"
            assert store.head("rowan-02").count == 2
            await pilot.press("ctrl+s")
            await saved(pilot)
            assert "(entries 3 to 4 of rowan-02)" in told(app)
            await pilot.press("ctrl+z")
            await settled(pilot)
            assert [one.stage for one in app.child_list["rowan-02"].session.record.decisions] == [  # type: ignore[union-attr]
                "contralateral_growth_arrest"
            ]
        assert [one.kind for one in store.entries("rowan-02")] == ["case", "decision", "visit", "revision"]
    assert "every hash matches" in registry(place, "verify")


async def test_a_locked_registry_is_said_and_saving_again_works(place, monkeypatch) -> None:
    monkeypatch.setattr(engine, "WAIT_SECONDS", 0.1)
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await enter_length(pilot, "121")
            holder = sqlite3.connect(place, isolation_level=None)
            holder.execute("BEGIN IMMEDIATE")
            await pilot.press("ctrl+s")
            await saved(pilot)
            assert "Not saved: " in told(app)
            assert "found that another program holds the registry" in told(app)
            assert "Ctrl+S tries again" in " ".join(text_of(app).split())
            assert app.child_list["rowan-02"].unsaved
            await pilot.press("b", "escape")
            assert isinstance(app.screen, TimelineScreen)
            holder.execute("ROLLBACK")
            holder.close()
            await pilot.press("ctrl+s")
            await saved(pilot)
            assert told(app).startswith("Saved in clinic.db")
        assert store.head("rowan-02").count == 3


def damaged(place: Path) -> None:
    for end in ("-wal", "-shm"):
        place.with_name(place.name + end).unlink(missing_ok=True)
    place.write_bytes(b"nothing that a database would know" * 100)


def without_tables(place: Path) -> None:
    with sqlite3.connect(place) as connection:
        connection.execute("DROP TABLE entry")
    connection.close()


@pytest.mark.parametrize("spoil", [damaged, without_tables])
async def test_a_registry_that_cannot_be_read_is_said_in_place(place, spoil: Callable[[Path], None]) -> None:
    with at(place) as (app, store):
        store.engine.dispose()
        spoil(place)
        async with app.run_test(size=SIZE) as pilot:
            await settled(pilot)
            words = app.screen.query_one(Notice).words
            assert "clinic.db: found" in words
            assert "expected" in words
            await pilot.press("enter", *"oak", "f1", "escape")
            assert isinstance(app.screen, ChildrenScreen)


async def test_a_child_that_could_not_be_read_is_read_when_it_is_opened_again(place, monkeypatch) -> None:
    monkeypatch.setattr(engine, "WAIT_SECONDS", 0.1)
    with at(place) as (app, store):
        real = Registry.entries
        monkeypatch.setattr(Registry, "entries", lambda self, child: real(self, "no-such-child"))
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            assert "found no child" in app.screen.query_one(Notice).words
            monkeypatch.setattr(Registry, "entries", real)
            await pilot.press("escape", "enter")
            await settled(pilot)
            assert app.child_list["rowan-02"].plan is not None
            assert app.screen.query_one(Notice).words == ""
        assert store.head("rowan-02").count == 1


async def test_who_saves_is_in_the_list_of_plans_at_once(place) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await enter_length(pilot, "121")
            await pilot.press("ctrl+s")
            await saved(pilot)
        (kept,) = [plan for plan in store.stored_plans() if plan.child == "rowan-02"]
        assert kept.head == store.head("rowan-02")


async def test_what_is_being_typed_stays_where_it_is_when_saving_ends(place) -> None:
    with at(place) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await enter_length(pilot, "121")
            await pilot.press(*TO_LENGTHS, "down", "down")
            await typed(pilot, "15")
            await pilot.press("ctrl+s")
            await saved(pilot)
            assert told(app).startswith("Saved in clinic.db")
            await typed(pilot, "5")
            assert form_of(app).typed == {"left.tibia_length_mm": "155"}


async def test_example_children_are_not_kept_and_the_screen_says_how_to_keep_some() -> None:
    app = the_app("rowan-02", {"rowan-02": files()["rowan-02"]})
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await enter_length(pilot, "121")
        await pilot.press("ctrl+s")
        await pilot.pause()
        assert "examples are not kept" in " ".join(text_of(app).split())
        assert "limb-pathway --registry" in told(app)
        await pilot.press("ctrl+q")
        assert app._exit


async def test_saving_while_the_plan_is_made_waits_for_it(place) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await pilot.press(*TO_LENGTHS)
            await typed(pilot, "121")
            await planned(pilot)
            await pilot.press("f5")
            app.save("rowan-02")
            app.save("rowan-02")
            await saved(pilot)
            assert told(app).startswith("Saved in clinic.db")
        assert store.head("rowan-02").count == 3


async def test_what_is_changed_while_saving_is_saved_after_it_when_asked(place) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await enter_length(pilot, "121")
            app.save("rowan-02")
            session = app.child_list["rowan-02"].session
            assert session is not None
            wanted = session.record.model_copy(update={"visits": session.record.visits[:-1]})
            app.edit("rowan-02", "The visit taken back", [Correction(session.record.visits[-1], None)])
            app.save("rowan-02")
            await saved(pilot)
            await saved(pilot)
            assert not app.child_list["rowan-02"].unsaved
        assert [one.kind for one in store.entries("rowan-02")][1:] == ["visit", "revision", "correction", "revision"]
        assert store.record("rowan-02") == wanted


async def test_an_empty_registry_says_how_children_come_into_it(tmp_path) -> None:
    file = tmp_path / "empty.db"
    with open_registry(str(file), create=True):
        pass
    with at(file) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            await settled(pilot)
            assert "limb-pathway registry import" in app.screen.query_one(Notice).words
