"""What stands in and around a form at 80 by 24: whole items, whole words, the keys that work, nothing over them."""

from __future__ import annotations

import pytest
from textual.widgets._toast import Toast

from pathway.questions.compare import differences
from tests.plans import files, plan
from tests.tui.screens_of import opened, settled, text_of, the_app
from tests.tui.test_followup import ROWAN, form_of, planned, typed
from tui.screens.accept import NOT_KEPT, AcceptScreen
from tui.widgets.choices import Choices
from tui.widgets.form import Form
from tui.widgets.hint import MORE, Hint
from tui.widgets.key_line import KeyLine

SMALL = (80, 24)


async def test_the_list_of_fields_never_begins_in_the_middle_of_one() -> None:
    app = the_app("oak-12", {"oak-12": files()["oak-12"]})
    async with app.run_test(size=(46, 24)) as pilot:
        await settled(pilot)
        await pilot.press("v")
        await pilot.pause()
        shown = app.screen.query_one("#fields", Choices)
        assert len(shown.lines) > len(shown.said), "some fields take two rows"
        for key in (*["down"] * (len(shown.said) - 1), *["up"] * (len(shown.said) - 1)):
            await pilot.press(key)
            await pilot.pause()
            top = shown.scroll_offset.y
            assert top == 0 or shown.lines[top][0] != shown.lines[top - 1][0]
            rows = [row for row, (owner, _, _) in enumerate(shown.lines) if owner == shown.place]
            assert top <= rows[0] and rows[-1] < top + shown.size.height


async def test_a_hint_that_does_not_fit_says_so_and_the_help_has_all_of_it() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(60, 24)) as pilot:
        await settled(pilot)
        await pilot.press("v")
        form, hint = app.screen.query_one(Form), app.screen.query_one(Hint)
        cut = []
        for place, field in enumerate(form.fields):
            form.choose(place)
            await pilot.pause()
            shown = " ".join(hint.shown)
            assert shown == " ".join(hint.words.split()) or shown.endswith(MORE)
            assert all(row.rstrip() in text_of(app) for row in hint.shown)
            if shown.endswith(MORE):
                cut.append(field)
        assert cut
        form.choose(form.fields.index(cut[-1]))
        await pilot.press("f1")
        await pilot.pause()
        assert " ".join(cut[-1].wanted.split()) in " ".join(say.text for say in app.screen.query_one("#text").said)


@pytest.mark.parametrize("screen", ["follow_up", "new_child", "what_if"])
async def test_the_key_for_the_next_choice_stands_below_just_where_it_does_something(screen) -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SMALL) as pilot:
        await settled(pilot)
        await opened(pilot, screen)
        form = app.screen.query_one(Form)
        form.choose(0)
        for _ in form.fields:
            await pilot.press("enter")
            await pilot.pause()
            assert ("F4 Next choice" in text_of(app)) == bool(form.chosen.options)


async def test_a_message_that_pops_up_leaves_the_keys_free() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SMALL, notifications=True) as pilot:
        await settled(pilot)
        await pilot.press("ctrl+s")
        await pilot.pause()
        toast, keys = app.screen.query_one(Toast), app.screen.query_one(KeyLine)
        assert toast.region.height > 0
        assert toast.region.bottom <= keys.region.y


async def test_what_the_course_that_follows_from_what_is_typed_waits_for_is_asked_for_in_the_same_form() -> None:
    app = the_app("hazel-08", {"hazel-08": files()["hazel-08"]})
    arms = "child.upper_limbs_functional"
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        await pilot.press("v")
        form = app.screen.query_one(Form)
        before = [field.name for field in form.fields]
        assert arms not in before
        form.choose(before.index("left.acetabulum"))
        await typed(pilot, "absent")
        await planned(pilot)
        assert arms in [f"child.{question.finding}" for question in form_of(app).seen.after.open_questions]
        after = [field.name for field in form.fields]
        assert after[: before.index("left.acetabulum") + 1] == before[: before.index("left.acetabulum") + 1]
        assert form.chosen.name == "left.acetabulum"
        assert "Asked with what is typed so far. Not known; needed for:" in form.fields[after.index(arms)].wanted
        await pilot.press("f6")
        await pilot.pause()
        assert [field.name for field in form.fields] == before


async def test_accepting_an_example_is_not_called_keeping_it() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SMALL) as pilot:
        await settled(pilot)
        await pilot.press("a")
        await pilot.pause()
        assert isinstance(app.screen, AcceptScreen)
        assert f"Enter {NOT_KEPT}" in text_of(app)
        assert "and keep" not in text_of(app)


async def test_findings_that_can_be_entered_are_not_called_known() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        await pilot.press("v", "f3")
        await pilot.pause()
        assert "can be entered]" in text_of(app)
        assert "known]" not in text_of(app)


def test_where_no_wish_was_entered_none_is_spoken_of() -> None:
    now = plan("rowan-02")
    none = now.model_copy(update={"alternatives": ()})
    assert none.recommended is None
    assert [text for text in differences(none, now) if "wish" in str(text)] == []
    from pathway.questions import what_if

    assert list(what_if.differences(none, now)) == [
        f"Before, no course could be planned; with this the first choice is: {now.recommended.summary}."
    ]


async def test_the_steps_of_the_history_are_whole_words_at_80_columns() -> None:
    app = the_app("oak-12", {"oak-12": files()["oak-12"]})
    async with app.run_test(size=SMALL) as pilot:
        await settled(pilot)
        await pilot.press("h")
        await pilot.pause()
        steps = app.screen.query_one("#moments", Choices)
        assert all("…" not in say.text for say in steps.said)
        shown = " ".join(text_of(app).split())
        assert " ".join(steps.said[1].text.split()) in shown
