"""Leaving the screens: nothing that is not saved goes without a question, and nobody is put out who stays."""

from __future__ import annotations

import sqlite3

from pathway.events import Correction
from pathway.registry.db import engine
from pathway.views.words.caution import CAUTION, INVENTED
from tests.tui.registry_of import SIZE, at, enter_length, open_rowan, saved
from tests.tui.screens_of import TO_LENGTHS, idle, settled, text_of
from tests.tui.test_followup import form_of, typed
from tui import planner
from tui.screens.leave import LeaveScreen
from tui.screens.timeline import TimelineScreen
from tui.widgets.frame import Notice


async def test_leaving_with_something_unsaved_asks_first(place) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await enter_length(pilot, "121")
            await pilot.press("ctrl+q")
            assert isinstance(app.screen, LeaveScreen)
            assert "length of the femur left 121 mm" in text_of(app)
            title, *below = text_of(app).split("\n")[:3]
            assert "not everything is saved" in title
            assert " ".join(" ".join(below).split()).startswith(f"{CAUTION} · {INVENTED}")
            await pilot.press("escape")
            assert isinstance(app.screen, TimelineScreen)
            await pilot.press("ctrl+q", "ctrl+s")
            await idle(app)
            await pilot.pause()
            assert app._exit
        assert store.head("rowan-02").count == 3


async def test_leaving_with_something_typed_and_not_kept_asks_first(place) -> None:
    with at(place) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await pilot.press(*TO_LENGTHS)
            await typed(pilot, "121")
            await pilot.press("ctrl+q")
            assert isinstance(app.screen, LeaveScreen)
            assert "typed in the follow-up and not kept" in text_of(app)
            assert "Save and leave" not in text_of(app)
            await pilot.press("escape")
            assert form_of(app).typed == {"left.femur_length_mm": "121"}
            await pilot.press("ctrl+q", "ctrl+q")
            assert app._exit


async def test_leaving_stays_where_saving_fails_and_leaves_without_it_when_asked_again(place, monkeypatch) -> None:
    monkeypatch.setattr(engine, "WAIT_SECONDS", 0.1)
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await enter_length(pilot, "121")
            holder = sqlite3.connect(place, isolation_level=None)
            holder.execute("BEGIN IMMEDIATE")
            await pilot.press("ctrl+q", "ctrl+s")
            await saved(pilot)
            assert isinstance(app.screen, LeaveScreen)
            assert "another program holds the registry" in app.screen.query_one(Notice).words
            assert not app._exit
            holder.close()
            await pilot.press("ctrl+q")
            assert app._exit
        assert store.head("rowan-02").count == 1


async def test_the_command_to_quit_asks_like_the_key(place) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await enter_length(pilot, "121")
            await pilot.press("ctrl+p")
            await pilot.pause()
            await pilot.press(*"quit")
            await idle(app)
            await pilot.pause()
            await pilot.press("enter", "enter")
            await pilot.pause()
            assert isinstance(app.screen, LeaveScreen)
            assert not app._exit
        assert store.head("rowan-02").count == 1


async def test_what_is_only_searched_for_is_nothing_to_ask_about(place) -> None:
    with at(place) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await pilot.press("v", "f3", *"knee")
            await pilot.press("ctrl+q")
            assert app._exit


async def test_who_goes_back_while_saving_stays(place, monkeypatch) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await enter_length(pilot, "121")
            await pilot.press("ctrl+q")
            app.save_and_leave()
            app.screen.action_back()  # type: ignore[attr-defined]
            await saved(pilot)
            assert isinstance(app.screen, TimelineScreen)
            assert not app._exit
        assert store.head("rowan-02").count == 3


async def test_who_could_not_leave_is_not_put_out_by_a_later_saving(place, monkeypatch) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            real = planner.make_from
            monkeypatch.setattr(planner, "make_from", lambda *_: ("rowan-02: no plan of this.",))
            seen = app.child_list["rowan-02"].session
            assert seen is not None
            app.edit("rowan-02", "A visit taken back", [Correction(seen.record.visits[-1], None)])
            await app.action_quit()
            app.save_and_leave()
            await settled(pilot)
            assert isinstance(app.screen, LeaveScreen)
            assert app.screen.query_one(Notice).words == "Not done: A visit taken back.\nrowan-02: no plan of this."
            monkeypatch.setattr(planner, "make_from", real)
            await pilot.press("escape")
            await enter_length(pilot, "121")
            await pilot.press("ctrl+s")
            await saved(pilot)
            assert not app.child_list["rowan-02"].unsaved
            assert not app._exit
        assert store.head("rowan-02").count == 3
