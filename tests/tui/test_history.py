"""What was entered and accepted, step by step; two steps compared in the words of the verb; what is due."""

from __future__ import annotations

import re

from pathway.children.kept_plans import NOW
from pathway.registry.planning import save_followup
from pathway.views.words.caution import CAUTION
from tests.plans import DAY, files
from tests.sample import visit
from tests.tui.registry_of import SIZE, WHEN, at, enter_length, open_rowan, registry, saved
from tests.tui.screens_of import settled, text_of, the_app, until
from tui.app import PathwayApp
from tui.screens.due import DueScreen
from tui.screens.history import HistoryScreen
from tui.widgets.choices import Choices
from tui.widgets.prose import Prose


def screen(app: PathwayApp) -> HistoryScreen:
    assert isinstance(app.screen, HistoryScreen)
    return app.screen


def said(app: PathwayApp) -> str:
    return " ".join(" ".join(say.text for say in screen(app).query_one("#said", Prose).said).split())


async def test_every_entry_stands_with_who_when_and_what_and_accepted_plans_are_marked(place) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await enter_length(pilot, "112")
            await pilot.press("ctrl+s")
            await saved(pilot)
            await pilot.press("a", "enter")
            await saved(pilot)
            await pilot.press("h")
            await until(pilot, lambda: len(screen(app).moments) > 1, "the entries")
            assert CAUTION in text_of(app)
            moments = screen(app).moments
            entries = store.entries("rowan-02")
            assert [one.number for one in moments] == [NOW, *(one.sequence for one in reversed(entries))]
            assert {one.who for one in moments[1:]} == {"ward-3", "first surgeon"}
            assert [one.kind for one in moments] == [
                "now",
                "plan accepted by the team",
                "plan kept with what was saved",
                "visit",
                "case",
            ]
            assert [one.accepted for one in moments] == [False, True, False, False, False]
            rows = text_of(app).split("\n")
            assert [row for row in rows if "✓" in row and "plan accepted by the team" in row]
            assert not [row for row in rows if "✓" in row and "kept with what was saved" in row]
            await pilot.press("down", "down")
            assert "length of the femur left 112 mm" in said(app)


async def test_two_accepted_plans_are_compared_as_the_verb_compares_them(place) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await pilot.press("a", "enter")
            await saved(pilot)
            await enter_length(pilot, "112")
            await pilot.press("a", "enter")
            await saved(pilot)
            await pilot.press("h")
            await until(pilot, lambda: len(screen(app).moments) > 1, "the entries")
            await pilot.press("m", "down", "down", "enter")
            await until(pilot, lambda: "Entered in between" in said(app), "what changed, with its facts")
            words = said(app)
        assert len(store.entries("rowan-02")) == 4
    from click.testing import CliRunner

    from pathway.cli.main import main

    env = {"LIMB_PATHWAY_REGISTRY": str(place), "COLUMNS": "400"}
    told = CliRunner(env=env).invoke(main, ["compare", "rowan-02@1", "rowan-02@2"]).output
    changes = [line.strip() for line in told.split("Changes, grouped")[1].split("\n")[1:] if line.strip()]
    assert changes
    assert all(line in words for line in changes), (changes, words)


async def test_a_child_that_is_in_no_registry_is_compared_by_the_days_of_its_record() -> None:
    app = the_app("rowan-02", {"rowan-02": files()["rowan-02"]})
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("h")
        record = app.child_list["rowan-02"].session.record  # type: ignore[union-attr]
        days = sorted({one.date for one in (*record.visits, *record.operations, *record.decisions)}, reverse=True)
        assert [one.on for one in screen(app).moments] == [DAY, *days]
        assert "A registry also keeps who entered what when" in text_of(app)
        await pilot.press("down", "enter")
        await until(pilot, lambda: "Entered in between" in said(app), "what changed")
        before = said(app)
        await pilot.press("enter")
        assert said(app) != before
        assert "Enter compares it with now" in said(app)


async def test_a_step_is_not_compared_with_itself_and_the_key_says_so() -> None:
    app = the_app("rowan-02", {"rowan-02": files()["rowan-02"]})
    async with app.run_test(size=SIZE, notifications=True) as pilot:
        await settled(pilot)
        await pilot.press("h", "up", "enter")
        await pilot.pause()
        (why,) = app._notifications
        assert why.message.endswith("choose another one first.")


async def test_what_is_saved_while_the_history_is_open_stands_in_it(place) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await pilot.press("h")
            await until(pilot, lambda: len(screen(app).moments) == 2, "the entry")
            theirs = visit(DAY, {"left.femur_length_mm": 120.0})
            save_followup(store, "rowan-02", [theirs], store.head("rowan-02"), who="night shift", when=WHEN)
            app.show("rowan-02")
            await until(pilot, lambda: len(screen(app).moments) == 3, "the visit of others")
            assert "visit, 2026-11-25 by night shift" in text_of(app)


async def test_due_says_what_the_verb_says_of_the_child(place) -> None:
    registry(place, "replan", "--on", str(DAY))
    printed = registry(place, "due", "--months", "12", "--on", str(DAY))
    with at(place) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await pilot.press("n")
            assert isinstance(app.screen, DueScreen)
            rows = [line for line in printed.split("\n") if "  rowan-02  " in line]
            assert rows
            shown = [re.split(r"\s{2,}", line.strip(), maxsplit=1) for line in text_of(app).split("\n")]
            wanted = [(line.split("  ")[0], line.split("  ")[2].removesuffix(" (overdue)")) for line in rows]
            told = [tuple(row) for row in shown if re.match(r"\d{4}-", row[0])]
            assert sorted(wanted) == sorted(told)
            assert [day for day, _ in told] == sorted(day for day, _ in told)


async def test_what_went_wrong_at_an_operation_is_not_cut_away_in_the_list() -> None:
    text = files()["rowan-02"] + (
        '\n[[operation]]\nkind = "femoral_lengthening"\ndate = 2026-05-20\nside = "left"\nachieved_mm = 28\n'
        'device_removed = 2026-11-18\ncomplications = ["pin_site_infection", "nerve_signs"]\n'
    )
    app = the_app("rowan-02", {"rowan-02": text})
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("h")
        await settled(pilot)
        steps = " ".join(say.text for say in app.screen.query_one("#moments", Choices).said)
        assert "device off on 2026-11-18, with pin site infection, nerve signs" in steps
