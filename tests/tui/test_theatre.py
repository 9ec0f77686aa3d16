"""The page for the table on the screen: one key from the worksheet, and never a number of a plan that is refused."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pathway.views.documents.theatre import NO_STEPS
from pathway.views.words.caution import CAUTION, INVENTED
from tests.plans import files
from tests.tui.screens_of import SIZES, opened, settled, text_of, the_app
from tui.screens.theatre import CHANGED, TheatreScreen
from tui.screens.worksheet import WorksheetScreen
from tui.widgets.form import Form

ROWAN = {"rowan-02": files()["rowan-02"]}
OSTEOTOMY = "proximal_femoral_osteotomy_1"
TERMINALS = [(80, 24), (120, 40), (200, 50)]


async def with_keys(pilot, keys) -> str:
    app = pilot.app
    await settled(pilot)
    app.screen.select(OSTEOTOMY)
    await pilot.press("s", *keys)
    await pilot.pause()
    await pilot.pause()
    return text_of(app)


def whole(app) -> str:
    """Everything on the page, also what lies below the edge."""
    return "\n".join(said.text for said in app.screen.query_one("#page").said)


@pytest.mark.parametrize("size", TERMINALS)
async def test_child_side_day_caution_and_numbers_are_there_at_once(size) -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        await opened(pilot, "theatre")
        said = text_of(app)
        for word in ("rowan-02", "LEFT FEMUR", str(app.on), CAUTION, INVENTED):
            assert word in said
        for word in ("Wire to shaft, front view", "Implant", "Blade", "Slot", "Cut", "Rotation", "Shift"):
            assert word in said


async def test_numbers_are_those_of_the_worksheet_as_typed() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        await opened(pilot, "theatre")
        said = whole(app)
        await pilot.press("escape")
        sheet = app.screen.sheet
        assert isinstance(app.screen, WorksheetScreen)
        for name in ("wire_front_deg", "wire_side_deg", "slot_deg", "rotation_deg"):
            assert f"{abs(sheet.numbers[name]):.1f} deg" in said
        for word in ("Steps", "Stop if", "What may be changed at the table", "Now and after, front view"):
            assert word in said


async def test_the_arrows_go_from_part_to_part() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(80, 24)) as pilot:
        await settled(pilot)
        await opened(pilot, "theatre")
        page = app.screen.query_one("#page")
        tops = []
        for _ in range(9):
            await pilot.press("right")
            await pilot.pause()
            tops.append(page.lines[page.scroll_offset.y][2])
        parts = ["Steps", "What may be changed at the table, with the same wire and slot", "Now and after, front view"]
        assert [top for top in tops if top in parts] == parts
        await pilot.press("left")
        await pilot.pause()
        assert page.lines[page.scroll_offset.y][2] == tops[-2]


async def test_a_refused_plan_shows_why_and_no_numbers_to_use() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(120, 40)) as pilot:
        # The blade itself, three lines after the width of the neck: longer than any neck.
        await with_keys(pilot, (*SIZES, *["down"] * 7, *"90", "f3"))
        said = whole(app)
        assert NO_STEPS in said
        assert "Stop if" not in said
        assert "Wire to shaft, front view" not in said
        assert "Now and after" not in said


async def test_sizes_that_are_not_measured_are_named() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(120, 40)) as pilot:
        said = await with_keys(pilot, ("f3",))
        assert "no page yet" in said
        assert "width of the neck" in said


async def test_what_cannot_be_used_is_said_in_place_of_numbers() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(120, 40)) as pilot:
        said = await with_keys(pilot, (*SIZES, "9", "9", "f3"))
        assert "found '1799'" in said
        assert "Wire to shaft" not in said


async def test_a_plan_that_has_changed_takes_its_page_away() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        await opened(pilot, "theatre")
        screen = app.screen
        assert isinstance(screen, TheatreScreen)
        entry = app.child_list["rowan-02"]
        assert entry.session is not None
        screen.children_changed(app.child_list, "rowan-02")
        assert "Steps" in whole(app)
        screen._case = replace(screen._case, plan=None)
        screen.children_changed(app.child_list, "rowan-02")
        assert whole(app) == CHANGED


async def test_other_worksheets_have_no_such_page() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        await opened(pilot, "worksheet")
        assert "For the table" not in text_of(app)
        await pilot.press("f3")
        assert isinstance(app.screen, WorksheetScreen)


async def test_export_opened_from_the_page_has_the_page_chosen() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        await opened(pilot, "theatre")
        await pilot.press("f8")
        await pilot.pause()
        chosen = app.screen.query_one(Form).chosen
        assert chosen is not None
        assert chosen.name == f"theatre.{OSTEOTOMY}"
        assert chosen.label.startswith("For the table")
