"""In a form nothing typed is lost by one key: a field is cleared alone, undo and redo go by whole values."""

from __future__ import annotations

import pytest
from textual.widgets import Input

from tests.tui.screens_of import TO_LENGTHS, opened, settled, text_of, the_app
from tests.tui.test_followup import ROWAN, SIZE, form_of, typed
from tui.widgets.form import Form
from tui.widgets.frame import Notice

FEMUR = "left.femur_length_mm"


async def two_lengths(pilot) -> None:
    await settled(pilot)
    await pilot.press(*TO_LENGTHS)
    await typed(pilot, "121")
    await pilot.press("down", "down")
    await typed(pilot, "102")


def chosen(app) -> str:
    return app.screen.query_one(Form).chosen.name


async def test_undo_takes_back_the_value_typed_last_and_shows_its_field_and_redo_types_it_again() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await two_lengths(pilot)
        last = chosen(app)
        await pilot.press("up", "up", "up", "ctrl+z")
        assert chosen(app) == last
        assert dict(form_of(app).typed) == {FEMUR: "121"}
        await pilot.press("ctrl+z")
        assert (chosen(app), dict(form_of(app).typed)) == (FEMUR, {})
        await pilot.press("ctrl+y", "ctrl+y")
        assert chosen(app) == last
        assert dict(form_of(app).typed) == {FEMUR: "121", last: "102"}
        assert app.screen.query_one(Input).value == "102"


async def test_undo_opens_the_part_of_the_form_in_which_the_field_stands() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("v", "tab")
        await typed(pilot, "hip prep")
        await pilot.press("tab", "tab", "ctrl+z")
        assert (form_of(app).part, chosen(app)) == (1, "operation.kind")
        assert form_of(app).typed == {}


async def test_clearing_clears_the_field_one_is_on_and_again_at_once_all_of_them_and_undo_brings_all_back() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await two_lengths(pilot)
        last = chosen(app)
        await pilot.press("f6")
        assert dict(form_of(app).typed) == {FEMUR: "121"}
        assert "F6 again clears all else that is typed (1)" in form_of(app).query_one(Notice).words
        await pilot.press("f6")
        assert dict(form_of(app).typed) == {}
        assert form_of(app).query_one(Notice).words.startswith("All cleared: 1 field.")
        await pilot.press("ctrl+z")
        assert dict(form_of(app).typed) == {FEMUR: "121"}
        await pilot.press("ctrl+z")
        assert dict(form_of(app).typed) == {FEMUR: "121", last: "102"}
        await pilot.press("shift+f6")
        assert dict(form_of(app).typed) == {}
        await pilot.press("ctrl+z")
        assert dict(form_of(app).typed) == {FEMUR: "121", last: "102"}


async def test_clearing_two_fields_one_after_the_other_clears_no_third() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await two_lengths(pilot)
        await pilot.press("down")
        await typed(pilot, "9")
        await pilot.press("f6", "up", "f6")
        assert dict(form_of(app).typed) == {FEMUR: "121"}
        await pilot.press("up", "f6")
        assert "Nothing is typed in" in form_of(app).query_one(Notice).words
        assert dict(form_of(app).typed) == {FEMUR: "121"}


@pytest.mark.parametrize("screen", ["new_child", "what_if", "worksheet", "follow_up"])
async def test_no_form_loses_what_is_typed_in_other_fields_by_one_key(screen) -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await opened(pilot, screen)
        form = app.screen
        if not form.typed:
            await typed(pilot, "1")
        await pilot.press("down")
        await typed(pilot, "2")
        before = dict(form.typed)
        await pilot.press("f6")
        assert len(form.typed) == len(before) - 1
        assert "F6 again" in text_of(app)
        await pilot.press("f6")
        assert not form.typed
        await pilot.press("ctrl+z", "ctrl+z")
        assert dict(form.typed) == before
