"""The timeline on the screen: every name and every last day is read, whatever the size; each key does its part."""

from __future__ import annotations

import pytest
from textual.app import App
from textual.pilot import Pilot

from pathway.views.pictures.lanes import HEAD_ROWS, LAST
from pathway.views.pictures.picture import Role
from pathway.views.pictures.rows import rows_of
from pathway.views.pictures.symbols import Symbols
from pathway.views.words.roads import is_the_road
from pathway.views.words.strip import strip
from tests.plans import files, plan
from tests.tui.screens_of import settled, text_of, the_app
from tui.screens.timeline import TimelineScreen
from tui.themes import PALETTES
from tui.widgets.curve_view import CurveView
from tui.widgets.paint import paint_of
from tui.widgets.prose import Prose
from tui.widgets.timeline_view import TimelineView

SIZES = [(80, 24), (120, 40), (200, 50)]


def view_of(app: App[None]) -> TimelineView:
    return app.screen.query_one(TimelineView)


def on_screen(app: App[None]) -> list[str]:
    """Return the rows of the lanes as they stand on the screen."""
    region = view_of(app).region
    rows = [f"{line:<{region.width}}" for line in text_of(app).split("\n")]
    return rows[region.y : region.bottom]


async def all_rows(pilot: Pilot[None]) -> dict[int, str]:
    """Return every row of the lanes, by its place in the picture, read page by page."""
    view, found = view_of(pilot.app), {}
    view.scroll_rows(-1000)
    while True:
        await pilot.pause()
        for offset, row in enumerate(on_screen(pilot.app)):
            found[view.row_of(offset)] = row
        if not view.scroll_rows(max(1, view.size.height - HEAD_ROWS)):
            return found


@pytest.mark.parametrize("size", SIZES)
async def test_every_name_of_every_child_can_be_read_in_full(size) -> None:
    """What is done opens by its key, what lies below is scrolled to; a shared row names the selected one."""
    app, unread = the_app(None), []
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        for child in files():
            app.open_timeline(child)
            await pilot.pause()
            of = plan(child)
            view = view_of(app)
            if any(stage.status == "done" for stage in of.stages):
                await pilot.press("p")
            rows = await all_rows(pilot)
            lanes = view._lanes
            assert lanes is not None
            shared = {s.id for row in rows_of(of, past=True).dated if len(row.stages) > 1 for s in row.stages}
            for stage in of.stages:
                if is_the_road(stage) or (stage.id in shared and stage.id != view.selected):
                    continue
                first, last = lanes.places[stage.id]
                end = lanes.columns.axis.left if stage.date or stage.road == "prosthetic" else size[0]
                read = " ".join(" ".join(rows[row][lanes.columns.name : end] for row in range(first, last + 1)).split())
                if stage.label not in read:
                    unread.append((child, stage.label, read))
            await pilot.press("escape")
    assert unread == []


@pytest.mark.parametrize("size", SIZES)
async def test_a_stage_of_a_shared_row_is_named_when_it_is_selected(size) -> None:
    app = the_app("rowan-02", {"rowan-02": files()["rowan-02"]})
    shared = [stages for row in rows_of(plan("rowan-02")).dated if len(stages := row.stages) > 1]
    assert len(shared) >= 3
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        for stages in shared:
            app.screen.select(stages[1].id)  # type: ignore[attr-defined]
            await pilot.pause()
            columns = view_of(app)._lanes.columns  # type: ignore[union-attr]
            names = " ".join(" ".join(row[columns.name : columns.axis.left] for row in on_screen(app)).split())
            assert f"{stages[1].label} (2 of {len(stages)})" in names


def unbroken(text: str) -> str:
    """Return a text as one line: a line may end at a hyphen, too."""
    return " ".join(text.split()).replace("- ", "-")


@pytest.mark.parametrize("size", SIZES)
async def test_the_strip_is_read_to_its_end_and_has_the_last_day(size) -> None:
    app = the_app(None)
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        for child in ("rowan-02", "hazel-08", "hawthorn-12", "elm-01", "cedar-05"):
            app.open_timeline(child)
            await pilot.pause()
            await pilot.pause()
            shown = unbroken(text_of(app))
            for paragraph in strip(plan(child), brief=size[1] < 30):
                assert unbroken(f"{paragraph.mark} {paragraph.text}") in shown
            await pilot.press("escape")


@pytest.mark.parametrize("theme", PALETTES)
async def test_a_last_day_is_painted_in_its_own_colour_and_no_cursor_covers_it(theme) -> None:
    app = the_app("hazel-08", {"hazel-08": files()["hazel-08"]})
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        app.theme = theme
        app.screen.select("contralateral_growth_arrest")  # type: ignore[attr-defined]
        await pilot.pause()
        view = view_of(app)
        mark = next(s for s in view.picture.spans if s.role is Role.LAST_DAY)  # type: ignore[union-attr]
        axis = view.axis
        assert axis is not None
        app.screen.move_to(axis.age(mark.column + 0.5))  # type: ignore[attr-defined]
        await pilot.pause()
        assert axis.column(view.age) == mark.column
        cells = [(glyph, part.style) for part in view.render_line(mark.row - view.top) for glyph in part.text]
        glyph, style = cells[mark.column]
        assert glyph == LAST
        assert style is not None
        assert style.color == paint_of(app).style(Role.LAST_DAY).color


async def test_the_past_opens_and_folds_with_its_ages() -> None:
    app = the_app("hazel-08", {"hazel-08": files()["hazel-08"]})
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        before = text_of(app)
        assert "Before today: 5 done (p)" in before
        low = view_of(app).axis.from_age  # type: ignore[union-attr]
        await pilot.press("p")
        await pilot.pause()
        assert "Hip preparation 1" in text_of(app)
        assert view_of(app).axis.from_age < low  # type: ignore[union-attr]
        await pilot.press("p")
        await pilot.pause()
        await pilot.pause()
        assert text_of(app) == before


async def test_on_a_small_screen_a_key_shows_the_curve_and_shows_the_lanes_again() -> None:
    app = the_app("rowan-02", {"rowan-02": files()["rowan-02"]})
    async with app.run_test(size=(80, 24)) as pilot:
        await settled(pilot)
        before = text_of(app)
        assert "BEWARE" in before
        assert "with the plan" not in before
        await pilot.press("g")
        await pilot.pause()
        await pilot.pause()
        shown = text_of(app)
        assert "with the plan" in shown
        assert "goal 0 to 1 cm" in shown
        assert "At 2 y 8 m, 2026-11-25 (today)" in shown
        await pilot.press("g")
        await pilot.pause()
        await pilot.pause()
        assert text_of(app) == before


async def test_on_a_large_screen_lanes_and_curve_share_the_axis_and_a_key_gives_the_lanes_all_rows() -> None:
    app = the_app("cedar-05", {"cedar-05": files()["cedar-05"]})
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        lanes, below = view_of(app), app.screen.query_one(CurveView)
        assert lanes.axis is not None
        assert below.axis is not None
        assert lanes.region.x + lanes.axis.left == below.region.x + below.axis.left
        assert lanes.region.x + lanes.axis.right == below.region.x + below.axis.right
        height = lanes.size.height
        await pilot.press("g")
        await pilot.pause()
        assert lanes.size.height > height
        assert not below.is_on_screen


async def test_a_cursor_that_moves_lays_nothing_out_anew(monkeypatch) -> None:
    app = the_app("rowan-02", {"rowan-02": files()["rowan-02"]})
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        made = []
        monkeypatch.setattr("tui.widgets.timeline_view.lanes_of", lambda *a, **k: made.append("lanes"))
        monkeypatch.setattr("tui.widgets.curve_view.curve_picture", lambda *a, **k: made.append("curve"))
        age = view_of(app).age
        await pilot.press("right", "shift+right", "left")
        await pilot.pause()
        assert view_of(app).age > age
        assert app.screen.query_one(CurveView).age == view_of(app).age
        assert made == []


async def test_other_symbols_are_chosen_by_a_command() -> None:
    app = the_app("rowan-02", {"rowan-02": files()["rowan-02"]})
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        assert any(0x2800 <= ord(glyph) < 0x2900 for glyph in text_of(app))
        for symbols in (Symbols.BLOCKS, Symbols.ASCII):
            title = f"Graph: {symbols}"
            next(c for c in app.get_system_commands(app.screen) if c.title == title).callback()
            await pilot.pause()
            await pilot.pause()
            shown = text_of(app)
            assert not any(0x2800 <= ord(glyph) < 0x2900 for glyph in shown)
        lanes, below = view_of(app).region, app.screen.query_one(CurveView).region
        rows = text_of(app).split("\n")
        assert all(row.isascii() for row in rows[lanes.y : lanes.bottom])
        assert all(row[below.x : below.right].isascii() for row in rows[below.y : below.bottom])
        assert f"Graph: {Symbols.BRAILLE}" in [c.title for c in app.get_system_commands(app.screen)]


async def test_the_text_beside_a_large_curve_is_on_the_selected_stage() -> None:
    app = the_app("rowan-02", {"rowan-02": files()["rowan-02"]})
    async with app.run_test(size=(200, 50)) as pilot:
        await settled(pilot)
        assert isinstance(app.screen, TimelineScreen)
        app.screen.select("femoral_lengthening_1")
        await pilot.pause()
        said = [paragraph.text for paragraph in app.screen.query_one("#age", Prose).said]
        assert "○ Femoral lengthening 1" in said
        assert any(text.startswith("With the plan") and "shorter" in text for text in said)


@pytest.mark.parametrize("size", SIZES)
async def test_every_stage_is_reached_by_its_key_with_the_cursor_over_the_picture(size) -> None:
    children = ("hazel-08", "maple-01")
    app = the_app(None, {child: files()[child] for child in children})
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        for child in children:
            app.open_timeline(child)
            await pilot.pause()
            reached = set()
            for _ in plan(child).stages:
                reached.add(app.screen.stage)  # type: ignore[attr-defined]
                await pilot.press("down")
                await pilot.pause()  # painted, with the cursor laid over every row
            ahead = [stage.id for stage in plan(child).stages if stage.status != "done"]
            assert len(reached) >= min(len(ahead), 5), child
            await pilot.press("escape")
