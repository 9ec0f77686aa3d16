"""A key that does nothing says why; every action of a screen is in the palette; help and jump keys of the forms."""

from __future__ import annotations

import pytest
from textual.widgets import Input

from tests.plans import files
from tests.tui.screens_of import OPENED, TO_LENGTHS, opened, settled, text_of, the_app, until
from tests.tui.test_followup import form_of, typed
from tui import keys
from tui.palette import STEPS, actions_of, bound
from tui.screens.base import ChildScreen, OwnScreen
from tui.screens.help import HelpScreen
from tui.screens.jump import JumpScreen
from tui.screens.worksheet import WorksheetScreen
from tui.widgets.form import Form
from tui.widgets.prose import Prose

ROWAN = {"rowan-02": files()["rowan-02"]}
SIZE = (120, 40)


def shown(app: object) -> str:
    return " ".join(text_of(app).split())  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("screen", "key", "why"),
    [
        ("timeline", "ctrl+s", "Nothing to save"),
        ("timeline", "ctrl+z", "Nothing to undo"),
        ("timeline", "ctrl+y", "Nothing to do again"),
        ("details", "a", "Not on this screen: a (Accept) belongs to Timeline, Courses"),
        ("timeline", "z", "Nothing is on z here. F1 lists the keys of this screen."),
        ("timeline", "f9", "Nothing is on F9 here."),
        ("follow_up", "f8", "Not on this screen: F8 (Export) belongs to Timeline, Family view"),
        ("what_if", "f5", ""),
        ("worksheet", "f3", "made of the sheet of an osteotomy of the upper femur"),
        ("worksheet", "f6", "Nothing to clear"),
        ("follow_up", "f4", "No choices here"),
        ("due", "pagedown", "all of it is shown"),
    ],
)
async def test_a_key_that_does_nothing_says_why(screen, key, why) -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE, notifications=True) as pilot:
        await settled(pilot)
        await opened(pilot, screen)
        before = type(app.screen)
        await pilot.press(key)
        await pilot.pause()
        if why:
            assert type(app.screen) is before
            assert why in " ".join(one.message for one in app._notifications)
            assert why.split()[0] in shown(app)
            count = len(app._notifications)
            await pilot.press(key)
            assert len(app._notifications) == count, "the same sentence stands once"
        else:
            assert not app._notifications


async def test_every_action_of_every_screen_is_in_its_palette_by_the_words_of_its_key() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        for name in OPENED:
            await opened(pilot, name)
            screen = app.screen
            assert isinstance(screen, OwnScreen)
            titles = {command.title for command in app.get_system_commands(screen)}
            for binding in bound(screen):
                if binding.action.partition("(")[0] not in STEPS:
                    assert screen.words_of(binding) in titles, (name, binding)
            if isinstance(screen, ChildScreen):
                offered = [one.action for one in actions_of(screen)]
                assert {one.action for one in keys.ABOUT_CHILD} <= set(offered), name
                assert len(set(offered)) == len(offered)


async def test_a_command_that_cannot_be_done_now_says_why_when_it_is_chosen() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE, notifications=True) as pilot:
        await settled(pilot)
        commands = {one.title: one.callback for one in app.get_system_commands(app.screen)}
        for title, why in (("Save", "Nothing to save"), ("Undo", "Nothing to undo")):
            app.clear_notifications()
            commands[title]()
            await pilot.pause()
            assert why in shown(app)
        await pilot.press("escape")
        {one.title: one.callback for one in app.get_system_commands(app.screen)}["Accept"]()
        await pilot.pause()
        assert "Choose a child first" in shown(app)


async def test_help_is_about_the_field_that_is_typed_in_first_then_about_the_screen() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press(*TO_LENGTHS, "f1")
        assert isinstance(app.screen, HelpScreen)
        words = [one.text for one in app.screen.query_one(Prose).said]
        rule = next(one for one in app.rules.findings if one.id == "femur_length_mm")  # type: ignore[union-attr]
        low, high = rule.plausible  # type: ignore[misc]
        assert words[0] == "Length of the femur, left, in mm"
        assert f"What to type: {low:g} to {high:g} mm" in words[1]
        assert rule.how in words[1]
        head = words.index("Follow-up")
        assert any(text.startswith("Sources") for text in words[:head])
        assert head < words.index("Everywhere") < words.index("Marks on the timeline")


@pytest.mark.parametrize(("name", "head"), [("timeline", "Timeline"), ("what_if", "What if"), ("courses", "Courses")])
async def test_help_begins_with_the_keys_of_the_screen_below(name, head) -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await opened(pilot, name)
        await pilot.press("f1")
        await pilot.pause()
        heads = [one.text for one in app.screen.query_one(Prose).said if one.heading]
        assert heads.index(head) < heads.index("Everywhere")


async def test_f7_goes_to_any_field_of_the_visit_form_and_leaves_what_was_typed() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press(*TO_LENGTHS)
        await typed(pilot, "121")
        await pilot.press("f7")
        assert isinstance(app.screen, JumpScreen)
        await typed(pilot, "decided by")
        assert [place.label for place in app.screen.found] == ["Decided by"]
        await pilot.press("enter")
        form = form_of(app)
        assert form.part == 2
        assert form.query_one(Form).chosen.name == "decision.by"  # type: ignore[union-attr]
        assert form.typed == {"left.femur_length_mm": "121"}
        assert isinstance(app.focused, Input)
        await typed(pilot, "team")
        assert form.typed["decision.by"] == "team"


async def test_f7_goes_to_any_input_of_a_worksheet() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await opened(pilot, "worksheet")
        form = app.screen.query_one(Form)
        last = form.fields[-1]
        await pilot.press("f7")
        await until(pilot, lambda: isinstance(app.screen, JumpScreen), "the fields")
        await typed(pilot, last.label.lower())
        await pilot.press("enter")
        assert isinstance(app.screen, WorksheetScreen)
        assert form.chosen is not None
        assert form.chosen.name == last.name


async def test_going_to_a_field_is_given_up_with_escape_and_unknown_letters_say_so() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("v")
        before = form_of(app).query_one(Form).place
        await pilot.press("f7", *"qqq")
        assert "No field is called so" in text_of(app)
        await pilot.press("enter")
        assert isinstance(app.screen, JumpScreen)
        await pilot.press("escape")
        assert form_of(app).query_one(Form).place == before
