"""The surgeon updates the plan after a visit: types, is told a slip in place, sees what changes, keeps, undoes."""

from __future__ import annotations

import datetime
import threading

import pytest
from textual.events import Key
from textual.pilot import Pilot
from textual.widgets import Input

from pathway.views.words.caution import CAUTION
from tests.plans import DAY, files, record, rules
from tests.tui.screens_of import TO_LENGTHS, settled, text_of, the_app, until
from tui import planner
from tui.app import PathwayApp
from tui.screens.followup import KEPT_WHEN_SEEN, FollowUpScreen
from tui.screens.timeline import TimelineScreen
from tui.widgets.form import Form
from tui.widgets.form_parts import Parts
from tui.widgets.frame import Notice
from tui.widgets.offered import Offered
from tui.widgets.prose import Prose

SIZE = (120, 40)
ROWAN = {"rowan-02": files()["rowan-02"]}
SIGNS = {" ": "space", ".": "full_stop", ",": "comma", "-": "minus"}


async def typed(pilot: Pilot[None], text: str) -> None:
    await pilot.press(*(SIGNS.get(sign, sign) for sign in text))


async def planned(pilot: Pilot[None]) -> None:
    """Wait until the plan with what is typed is there, with the cause of each change, or why it is not."""
    screen = form_of(pilot.app)

    def there() -> bool:
        return isinstance(screen.seen, tuple) or bool(screen.seen and screen.seen.entered)

    await until(pilot, lambda: screen.entered.record is None or there(), "the plan with what is typed")
    await pilot.pause()


def changes(app: object) -> str:
    """Return what the form says of the plan."""
    return " ".join(say.text for say in form_of(app).query_one("#changes", Prose).said)


def form_of(app: object) -> FollowUpScreen:
    assert isinstance(app, PathwayApp)
    assert isinstance(app.screen, FollowUpScreen)
    return app.screen


def lengths(app: PathwayApp) -> list[float]:
    session = app.child_list["rowan-02"].session
    assert session is not None
    last = session.record.visits[-1]
    return [item.value for item in last.measurements if last.date == DAY]  # type: ignore[misc]


async def test_a_slip_is_told_in_place_and_what_is_right_shows_what_it_changes_and_why() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press(*TO_LENGTHS)
        assert form_of(app).query_one(Form).chosen.name == "left.femur_length_mm"  # type: ignore[union-attr]
        await typed(pilot, "1210")
        await pilot.pause()
        text = " ".join(text_of(app).split())
        assert "found 1210, expected 35 to 620 mm; did you mean 121, a tenth of it" in text
        assert "F5 Keep" not in text
        await pilot.press("f5")
        assert form_of(app).entered.record is None
        await pilot.press("backspace")
        await planned(pilot)
        text = " ".join(text_of(app).split())
        assert "did you mean" not in text
        assert "F5 Keep" in text
        assert "Because of length of the femur left 121 mm on 2026-11-25:" in changes(app)
        assert "Difference at maturity without operations: 17.0 cm" in changes(app)
        assert lengths(app) == []


async def test_a_plan_that_comes_while_somebody_types_moves_nobody_from_the_field() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press(*TO_LENGTHS)
        await typed(pilot, "12")
        screen = form_of(app)
        screen._ground = (None, None)  # as where the plan of another day has come
        screen.children_changed(app.child_list, "rowan-02")
        await typed(pilot, "1")
        await pilot.pause()
        assert screen.query_one(Form).chosen.name == "left.femur_length_mm"  # type: ignore[union-attr]
        assert screen.query_one(Input).value == "121"
        assert screen.typed == {"left.femur_length_mm": "121"}


@pytest.mark.parametrize("field", [1, 2, 3])
async def test_what_is_typed_faster_than_it_is_taken_lands_in_the_field_that_was_meant(field) -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("v")
        await pilot.pause()
        meant = form_of(app).query_one(Form).fields[field].name
        for key in (*["down"] * field, "1", "2", "1", "up", "down", "0"):
            app.post_message(Key(key, key if key.isdigit() else None))  # with no wait between them, as from a scanner
        await pilot.pause()
        await until(pilot, lambda: bool(form_of(app).typed), "what was typed")
        await pilot.pause()
        assert form_of(app).typed == {meant: "1210"}


async def test_it_is_kept_as_one_edit_undone_and_done_again() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press(*TO_LENGTHS)
        await typed(pilot, "121")
        await pilot.press("down")
        await typed(pilot, "195")
        await pilot.press("tab")
        await typed(pilot, "hip prep")
        await planned(pilot)
        await pilot.press("f5")
        await settled(pilot)
        assert isinstance(app.screen, TimelineScreen)
        entry = app.child_list["rowan-02"]
        assert len(entry.session.done) == 1  # type: ignore[union-attr]
        assert entry.told[0] == ("Follow-up entered: length of the femur left 121 mm on 2026-11-25, and 2 more.")
        assert lengths(app) == [121.0, 195.0]
        assert entry.plan.stage("hip_preparation_1").status in ("done", "under_way")  # type: ignore[union-attr]
        await pilot.press("ctrl+z")
        await settled(pilot)
        assert app.child_list["rowan-02"].session.record == record("rowan-02")  # type: ignore[union-attr]
        await pilot.press("ctrl+y")
        await settled(pilot)
        assert lengths(app) == [121.0, 195.0]
        assert app.child_list["rowan-02"].told[0].startswith("Done again: Follow-up entered: ")


async def test_what_is_kept_before_its_plan_is_there_waits_for_it_and_for_its_question(monkeypatch) -> None:
    may_plan = threading.Event()
    follow_up = planner.follow_up

    def held(*given, **named):
        may_plan.wait()
        yield from follow_up(*given, **named)

    monkeypatch.setattr(planner, "follow_up", held)
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press(*TO_LENGTHS)
        await typed(pilot, "121")
        await pilot.press("f5")
        assert form_of(app).query_one(Notice).words == KEPT_WHEN_SEEN
        may_plan.set()
        await until(pilot, lambda: not isinstance(app.screen, FollowUpScreen), "the road")
        await settled(pilot)
        assert lengths(app) == [121.0]
        await pilot.press("ctrl+z")
        await settled(pilot)
        await pilot.press(*TO_LENGTHS)
        await typed(pilot, "219")
        await pilot.press("f5")
        await planned(pilot)
        assert "press F5 again to keep it" in form_of(app).query_one(Notice).words
        assert lengths(app) != [219.0]
        await pilot.press("f5")
        await settled(pilot)
        assert lengths(app) == [219.0]


async def test_what_was_typed_waits_for_whoever_leaves_without_keeping_it() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press(*TO_LENGTHS)
        await typed(pilot, "121")
        await pilot.press("escape", "b", "escape", "v")
        assert form_of(app).typed == {"left.femur_length_mm": "121"}
        assert app.screen.query_one(Input).value == "121"
        await planned(pilot)
        await pilot.press("f5")
        await settled(pilot)
        await pilot.press(*TO_LENGTHS)
        assert form_of(app).typed == {}


async def test_any_other_finding_is_found_by_typing_a_part_of_its_name() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("v", "f3")
        await typed(pilot, "wrist")
        assert app.screen.query_one(Form).fields[-1].name == "find"
        await pilot.press(*["backspace"] * 5)
        await typed(pilot, "knee fl")
        await pilot.press("enter")
        await typed(pilot, "120")
        await pilot.press("f3", *["backspace"] * 7)
        shown = [field.name for field in app.screen.query_one(Form).fields if field.by_hand]
        assert shown == ["left.knee_flexion_deg"]
        assert form_of(app).entered.facts == ("maximum knee flexion left 120 deg on 2026-11-25",)


async def test_choices_are_gone_through_by_a_key_and_typed_by_a_part() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("v", "tab", "tab")
        assert "F4 Next choice" in text_of(app)
        await pilot.press("f4", "down", "f4", "down", "down")
        await typed(pilot, "no second leg")
        await planned(pilot)
        text = " ".join(text_of(app).split())
        assert "Decision: decline a stage ✎" in text
        assert "Decided by: team" in text
        assert "F4" not in text
        assert "Because of decision of team on 2026-11-25: decline hip_preparation:" in changes(app)
        assert form_of(app).query_one(Parts).names == ("Visit", "Operation", "Decision (3 fields)")


async def test_typing_takes_the_place_of_a_choice_that_was_taken_by_the_key() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("v", "tab", "f4")
        await typed(pilot, "hip prep")
        await pilot.pause()
        assert form_of(app).typed["operation.kind"] == "hip prep"
        assert form_of(app).query_one(Form).chosen.means == "Hip preparation"  # type: ignore[union-attr]


async def test_what_is_unlikely_is_asked_back_once() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press(*TO_LENGTHS, "down")
        await typed(pilot, "150")
        await pilot.press("f5")
        assert "press F5 again to keep it" in form_of(app).query_one(Notice).words
        assert lengths(app) == []
        await pilot.press("f5")
        await settled(pilot)
        assert lengths(app) == [150.0]


async def test_a_length_that_the_visits_before_did_not_lead_to_expect_stands_first_and_is_asked_back_once() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press(*TO_LENGTHS)
        await typed(pilot, "219")  # 119 mm a week before
        await planned(pilot)
        assert changes(app).startswith("Please check the femur of the shorter leg on 2026-11-25: 219 mm")
        assert changes(app).count("Please check") == 1
        await pilot.press("f5")
        assert "press F5 again to keep it" in form_of(app).query_one(Notice).words
        assert lengths(app) == []
        await pilot.press("f5")
        await settled(pilot)
        assert lengths(app) == [219.0]


async def test_the_question_is_brought_into_view_when_it_is_asked() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(80, 24)) as pilot:
        await settled(pilot)
        await pilot.press(*TO_LENGTHS)
        await typed(pilot, "219")
        await planned(pilot)
        panel = form_of(app).query_one("#changes", Prose)
        panel.scroll_end(animate=False)
        await pilot.pause()
        assert panel.scroll_offset.y > 0
        await pilot.press("f5")
        await pilot.pause()
        assert panel.scroll_offset.y == 0
        assert "Please check" in text_of(app)


async def test_the_words_on_a_field_are_whole_where_there_is_room() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(100, 30)) as pilot:
        await settled(pilot)
        await pilot.press("v", "tab")
        await pilot.pause()
        left = " ".join(line[:50].strip() for line in text_of(app).split("\n"))
        assert "Operation done (37 choices):" in left
        assert app.screen.query_one(Form).chosen.wanted in " ".join(left.split())  # type: ignore[union-attr]


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 50)])
async def test_every_complication_is_seen_at_every_size_and_the_next_key_brings_each_into_view(size) -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        await pilot.press("v", "tab", *["down"] * 7)
        await pilot.pause()
        listed = app.screen.query_one(Offered)
        assert listed.words == tuple(name.replace("_", " ") for name in rules().complications)
        shown = " ".join(text_of(app).split())
        assert all(words in shown for words in listed.words)
        for words in listed.words:
            await pilot.press("f4")
            await pilot.pause()
            assert f"✓ {words}" in text_of(app)


async def test_of_several_choices_the_next_key_adds_after_the_comma_and_what_is_typed_narrows_the_list() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("v", "tab", *["down"] * 7, "f4")
        await typed(pilot, ", deep")
        assert app.screen.query_one(Offered).words == ("deep infection",)
        await pilot.press("f4")
        assert app.screen.query_one(Input).value == "pin site infection, deep infection"
        assert app.screen.query_one(Offered).taken == {"pin site infection", "deep infection"}
        row = next(y for y, line in enumerate(text_of(app).split("\n")) if "nerve signs" in line)
        await typed(pilot, ", ")
        await pilot.pause()
        column = text_of(app).split("\n")[row].index("nerve signs")
        await pilot.click(offset=(column, row))
        assert app.screen.query_one(Input).value.endswith("deep infection, nerve signs")


async def test_the_form_opens_at_its_first_field() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("v")
        assert form_of(app).query_one(Form).place == 0
        assert form_of(app).query_one(Form).chosen.name == "date"  # type: ignore[union-attr]


async def test_a_bare_number_in_cm_is_asked_back_and_one_key_answers() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press(*TO_LENGTHS)
        await typed(pilot, "12.1")
        await pilot.pause()
        text = " ".join(text_of(app).split())
        assert "found 12.1, expected about 119 mm; did you mean 12.1 cm (121 mm)? Choose it below" in text
        assert "F5 Keep" not in text
        await pilot.press("f4")
        await planned(pilot)
        assert app.screen.query_one(Input).value == "12.1 cm"
        assert "Length of the femur, left: 121 mm ✎" in text_of(app)
        await pilot.press("f5")
        await settled(pilot)
        assert lengths(app) == [121.0]


async def test_an_answer_to_what_is_no_longer_typed_is_dropped() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press(*TO_LENGTHS)
        screen = form_of(app)
        await typed(pilot, "121")
        await planned(pilot)
        old, seen = screen.entered.record, screen.seen
        assert old is not None
        await typed(pilot, "5")
        assert screen.seen is None
        screen.post_message(FollowUpScreen.Seen(old, seen))  # type: ignore[arg-type]
        await pilot.pause()
        assert screen.seen is None


async def test_no_answer_to_what_was_typed_before_stands_beside_what_is_typed_now(monkeypatch) -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press(*TO_LENGTHS)
        screen = form_of(app)
        await typed(pilot, "121")
        await planned(pilot)
        assert "What this changes in the plan" in changes(app)
        monkeypatch.setattr("tui.screens.followup.PAUSE_SECONDS", 3600)  # no plan of what follows
        await pilot.press("backspace")
        await typed(pilot, "2")
        await pilot.pause()
        assert screen.entered.record is not None
        assert "What this changes in the plan" not in changes(app)
        assert changes(app).startswith("Planning with it …")


async def test_what_is_typed_otherwise_to_the_same_end_keeps_its_answer() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press(*TO_LENGTHS)
        await typed(pilot, "12.1 cm")
        await planned(pilot)
        seen = form_of(app).seen
        await pilot.press("space")
        await pilot.pause()
        assert form_of(app).seen is seen


async def test_a_fault_of_the_program_while_planning_is_said_and_nothing_is_lost(monkeypatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("no such thing")

    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        monkeypatch.setattr("tui.planner.follow_up", broken)
        await pilot.press(*TO_LENGTHS)
        await typed(pilot, "121")
        await planned(pilot)
        assert "Internal error while planning (RuntimeError: no such thing)" in changes(app)
        assert form_of(app).typed == {"left.femur_length_mm": "121"}


async def test_the_mouse_opens_a_part_and_chooses_a_field() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("v")
        column = text_of(app).split("\n")[2].index("Operation")
        await pilot.click(Parts, offset=(column, 0))
        assert form_of(app).part == 1
        row = next(y for y, line in enumerate(text_of(app).split("\n")) if "Device off" in line)
        await pilot.click(offset=(6, row))
        assert form_of(app).query_one(Form).chosen.name == "operation.device_removed"  # type: ignore[union-attr]


@pytest.mark.parametrize("child", files())
@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 50)])
async def test_the_form_of_every_child_has_title_caution_keys_and_room_to_type(child, size) -> None:
    app = the_app(child, {child: files()[child]})
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        await pilot.press("v")
        for _ in range(3):
            await pilot.pause()
            text = text_of(app)
            assert text.startswith(f" {child}: follow-up")
            assert CAUTION in text
            for key in ("Tab Part", "↑ ↓ Field", "F3 Find", "Esc Back", "F1 ? Help"):
                assert key in text
            assert app.screen.query_one(Input).region.height == 1
            assert app.screen.query_one("#fields").region.height >= 4
            assert app.screen.query_one("#changes").region.height >= 4
            await pilot.press("tab")


async def test_the_command_palette_leads_to_the_form() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        commands = {command.title: command.callback for command in app.get_system_commands(app.screen)}
        commands["Visit"]()
        await pilot.pause()
        assert form_of(app).child == "rowan-02"


async def test_a_visit_of_the_past_is_entered_on_its_day() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("v")
        assert app.screen.query_one(Input).placeholder == str(DAY)
        await typed(pilot, "2026-11-20")
        await pilot.press("down", "down")
        await typed(pilot, "121")
        await planned(pilot)
        assert form_of(app).entered.facts == ("length of the femur left 121 mm on 2026-11-20",)
        await pilot.press("f5")
        await settled(pilot)
        visits = app.child_list["rowan-02"].session.record.visits  # type: ignore[union-attr]
        assert datetime.date(2026, 11, 20) in [visit.date for visit in visits]


async def test_a_child_without_a_plan_has_no_fields_and_the_form_says_why() -> None:
    app = the_app("ash-01", {"ash-01": "nonsense"})
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("v", "1", "f3", "f5", "tab")
        assert "its timeline says why" in form_of(app).query_one(Notice).words
        await pilot.press("escape")
        assert isinstance(app.screen, TimelineScreen)
