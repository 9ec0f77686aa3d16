"""Walks through the screens by keys and mouse: no dead end, the state reached is what was asked for."""

from __future__ import annotations

import pytest
from textual.geometry import Offset
from textual.widgets import Input

from pathway.days import age_words
from pathway.views import manual
from pathway.views.words.caution import CAUTION
from pathway.views.words.paragraphs import in_date_order
from tests.plans import files
from tests.tui.screens_of import settled, text_of, the_app
from tui.screens.base import ChildScreen
from tui.screens.children import ChildrenScreen
from tui.screens.details import DetailsScreen
from tui.screens.help import HelpScreen
from tui.screens.manual import ManualScreen
from tui.screens.prerequisites import PrerequisitesScreen
from tui.screens.timeline import TimelineScreen
from tui.widgets.child_table import ChildTable
from tui.widgets.curve_view import CurveView
from tui.widgets.frame import Notice
from tui.widgets.picture_view import PictureView
from tui.widgets.prose import Prose
from tui.widgets.timeline_view import TimelineView

SIZE = (120, 40)
ROWAN = {"rowan-02": files()["rowan-02"]}
FAULTY = 'schema_version = 1\n[child]\nid = "ash-01"\ndate_of_birth = 2020-01-01\nsex = "grl"\n'


def timeline_of(app: object) -> TimelineScreen:
    screen = app.screen  # type: ignore[attr-defined]
    assert isinstance(screen, TimelineScreen)
    return screen


async def test_a_child_is_opened_walked_and_left() -> None:
    app = the_app()
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        assert isinstance(app.screen, ChildrenScreen)
        await pilot.press(*"rowan", "enter")
        timeline = timeline_of(app)
        assert timeline.child == "rowan-02"
        order = [stage.id for stage in in_date_order(timeline.plan)]  # type: ignore[arg-type]
        start = order.index(timeline.selected.id)  # type: ignore[union-attr]
        await pilot.press("down", "tab", "up", "down")
        assert timeline.selected.id == order[start + 2]  # type: ignore[union-attr]
        await pilot.press("b")
        assert isinstance(app.screen, PrerequisitesScreen)
        await pilot.press("enter")
        assert isinstance(app.screen, DetailsScreen)
        await pilot.press("b", "down", "escape")
        assert timeline_of(app).selected.id == order[start + 3]  # type: ignore[union-attr]
        await pilot.press("escape")
        assert isinstance(app.screen, ChildrenScreen)
        await pilot.press("escape")
        assert app.screen.query_one(Input).value == ""
        assert isinstance(app.screen, ChildrenScreen)


async def test_the_age_moves_by_steps_by_years_and_not_off_the_timeline() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        view = app.screen.query_one(TimelineView)
        today = view.age
        await pilot.press("right")
        assert today < view.age <= today + view.step_years + 0.5 / 12
        await pilot.press("shift+right", "shift+right")
        await pilot.pause()
        assert view.age == pytest.approx(round(12 * (today + view.step_years)) / 12 + 2)
        assert f"At {age_words(view.age)}, " in text_of(app)
        await pilot.press(*["shift+left"] * 9)
        low = view.age
        await pilot.press("left")
        assert view.age == low


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
async def test_what_is_said_of_a_stage_is_read_to_its_end(size) -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        await pilot.press(*(["g"] if size[0] < 100 else []), "down", "down", "down")
        await pilot.pause()
        before = text_of(app)
        pane = app.screen.query_one("#stage" if size[0] < 100 else "#age", Prose)
        last = pane.lines[-1][2].strip()
        for _ in range(12):
            await pilot.press("pagedown")
        assert last in text_of(app)
        for _ in range(12):
            await pilot.press("pageup")
        assert text_of(app) == before


async def test_the_cursor_stands_on_today_at_first_and_finds_it_again() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        today = app.screen.query_one(TimelineView).age
        assert "(today)" in text_of(app)
        await pilot.press("right", "left")
        assert app.screen.query_one(TimelineView).age == today


@pytest.mark.parametrize(
    ("typed", "found"),
    [
        ("oak", ["oak-12"]),
        ("fibular", ["birch-04", "maple-01"]),
        ("of the other leg", ["hawthorn-12", "oak-12"]),
        ("2027-07-18", ["hawthorn-12"]),
        ("bow of the tibia", ["birch-04"]),
        ("close call short", ["oak-12"]),
        ("16.5 cm", ["willow-03"]),
        ("no such child", []),
    ],
)
async def test_typing_searches_all_that_the_rows_say(typed, found) -> None:
    app = the_app()
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press(*("space" if key == " " else key for key in typed))
        table = app.screen.query_one(ChildTable)
        assert sorted(row.name for row in table.rows) == found
        assert ("No child matches" in text_of(app)) == (not found)
        await pilot.press("enter")
        assert isinstance(app.screen, TimelineScreen if found else ChildrenScreen)


async def test_a_faulty_file_shows_its_sentence_and_hides_no_one_else() -> None:
    app = the_app(case_files={"ash-01": FAULTY, "rowan-02": files()["rowan-02"]})
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("enter")
        assert timeline_of(app).child == "ash-01"
        notice = app.screen.query_one(Notice)
        assert "ash-01.toml, line 5, child.sex: found" in notice.words
        await pilot.press("b", "enter", "down", "right", "escape", "down", "enter")
        assert timeline_of(app).child == "rowan-02"


async def test_a_fault_of_the_program_is_said_in_place(monkeypatch) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("no such thing")

    monkeypatch.setattr("tui.planner.make", broken)
    app = the_app("rowan-02")
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        assert "internal error while planning" in app.screen.query_one(Notice).words


@pytest.mark.parametrize("key", ["f1", "question_mark"])
async def test_help_opens_on_every_screen_of_a_child_and_closes(key) -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        for opener in ((), ("b",), ("enter",)):
            await pilot.press(*opener)
            before = app.screen
            await pilot.press(key)
            assert isinstance(app.screen, HelpScreen)
            await pilot.press("escape")
            assert app.screen is before


@pytest.mark.parametrize("opens", [("f1",), ("v", "f1")])
async def test_the_help_scrolls_by_line_by_page_and_to_its_ends(opens) -> None:
    app = the_app("rowan-02", {"rowan-02": files()["rowan-02"]})
    async with app.run_test(size=(80, 24)) as pilot:
        await settled(pilot)
        await pilot.press(*opens)
        await pilot.pause()
        prose = app.screen.query_one(Prose)
        await pilot.press("down", "down")
        await pilot.pause()
        assert prose.scroll_offset.y == 2
        await pilot.press("up", "pagedown")
        await pilot.pause()
        assert prose.scroll_offset.y > 10
        await pilot.press("end")
        await pilot.pause()
        assert prose.scroll_offset.y == prose.max_scroll_y > 20
        assert prose.said[-1].text.split()[-1] in text_of(app)
        await pilot.press("pageup")
        await pilot.pause()
        assert prose.scroll_offset.y < prose.max_scroll_y
        await pilot.press("home")
        await pilot.pause()
        assert prose.scroll_offset.y == 0


async def test_the_help_says_of_the_manual_and_opens_its_pages() -> None:
    app = the_app("rowan-02", {"rowan-02": files()["rowan-02"]})
    async with app.run_test(size=(80, 24)) as pilot:
        await settled(pilot)
        await pilot.press("f1")
        await pilot.pause()
        assert "m opens the manual; limb-pathway manual prints it." in " ".join(text_of(app).split())
        await pilot.press("m")
        await pilot.pause()
        assert isinstance(app.screen, ManualScreen)
        page = app.screen.query_one("#page", Prose)
        for topic in manual.topics():
            assert page.said == tuple(manual.page(topic, app.rules)), topic
            await pilot.press("pagedown")
            await pilot.pause()
            assert page.scroll_offset.y > 0 or page.max_scroll_y == 0, topic
            await pilot.press("down")
            await pilot.pause()
        await pilot.press("escape")
        assert isinstance(app.screen, HelpScreen)


async def test_help_opens_where_typing_searches() -> None:
    app = the_app()
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("f1")
        assert isinstance(app.screen, HelpScreen)


async def test_the_mouse_opens_a_child_picks_a_stage_and_an_age() -> None:
    app = the_app()
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        row = next(y for y, line in enumerate(text_of(app).split("\n")) if "rowan-02" in line)
        await pilot.click(offset=Offset(5, row))
        await pilot.click(offset=Offset(5, row))
        timeline = timeline_of(app)
        view = timeline.query_one(TimelineView)
        span = next(s for s in view.picture.spans if s.target == "contralateral_growth_arrest")  # type: ignore[union-attr]
        await pilot.click(TimelineView, offset=Offset(span.column, span.row))
        assert timeline.stage == "contralateral_growth_arrest"
        await pilot.click(TimelineView, offset=Offset(60, 10))
        assert view.age == pytest.approx(view.axis.age(60.5), abs=1 / 12)  # type: ignore[union-attr]
        below = timeline.query_one(CurveView)
        await pilot.click(CurveView, offset=Offset(40, 5))
        assert below.age == view.age == pytest.approx(below.axis.age(40.5), abs=1 / 12)  # type: ignore[union-attr]
        await pilot.press("b")
        await pilot.pause()
        graph = app.screen.query_one(PictureView)
        span = next(s for s in graph.picture.spans if s.target == "hip_preparation_1")  # type: ignore[union-attr]
        await pilot.click(PictureView, offset=Offset(span.column, span.row))
        assert isinstance(app.screen, ChildScreen)
        assert app.screen.stage == "hip_preparation_1"


@pytest.mark.parametrize("child", files())
@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 50)])
async def test_every_screen_of_every_child_has_title_caution_and_keys(child, size) -> None:
    app = the_app(child, {child: files()[child]})
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        for opener in ((), ("b",), ("enter",), ("f1",)):
            await pilot.press(*opener)
            await pilot.pause()
            text = text_of(app)
            assert CAUTION in text
            assert "Esc" in text
            assert text.split("\n")[0].strip()
            assert max(len(line) for line in text.split("\n")) <= size[0]


async def test_commands_lead_to_every_screen() -> None:
    app = the_app("rowan-02")
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        commands = {command.title: command.callback for command in app.get_system_commands(app.screen)}
        assert {"Children", "Timeline of elm-01", "Prerequisites", "Details", "Help", "Quit"} <= set(commands)
        for title, screen in (
            ("Prerequisites", PrerequisitesScreen),
            ("Help", HelpScreen),
            ("Manual", ManualScreen),
            ("Children", ChildrenScreen),
        ):
            commands[title]()
            await pilot.pause()
            assert isinstance(app.screen, screen)
        commands["Timeline of elm-01"]()
        await pilot.pause()
        assert timeline_of(app).child == "elm-01"


async def test_keys_work_while_a_child_is_still_being_planned(monkeypatch) -> None:
    import threading

    gate = threading.Event()
    real = __import__("tui.planner", fromlist=["make"]).make

    def slow(*arguments: object) -> object:
        gate.wait(20)
        return real(*arguments)

    monkeypatch.setattr("tui.planner.make", slow)
    app = the_app("rowan-02")
    async with app.run_test(size=SIZE) as pilot:
        assert "planning" in text_of(app)
        await pilot.press("right", "down", "b", "enter", "escape", "o", "a", "k")
        assert app.screen.query_one(Input).value == "oak"
        gate.set()
        await settled(pilot)
