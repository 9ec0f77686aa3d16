"""The axis of the whole leg on the screen: one key from any worksheet, points typed in, and the same key back."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.plans import files
from tests.tui.screens_of import opened, settled, text_of, the_app
from tests.worksheets.axis.test_bends import bent_tibia
from tests.worksheets.axis.test_worksheet import on_film

ROWAN = {"rowan-02": files()["rowan-02"]}


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 50)])
async def test_points_of_a_film_give_the_bend_and_its_level(size) -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        await opened(pilot, "worksheet")
        stage = app.screen.kind
        await pilot.press("f5")
        await pilot.pause()
        assert app.screen.kind == "axis"
        assert "axis of the leg" in text_of(app)
        said = "\n".join(said.text for said in app.screen.query_one("#sheet").said)
        assert "Mark points on the long standing film" in " ".join(said.split())
        # The built leg is longer than this child's: its measured lengths would refuse the film.
        app.screen._case = replace(app.screen._case, findings={})
        app.screen.begin_with(on_film(bent_tibia(20, 70), "left"))
        app.screen.typed_anew()
        await pilot.pause()
        assert app.screen.sheet.numbers["tibia_whole_deg"] == pytest.approx(20, abs=2)
        await pilot.press("f4")
        await pilot.pause()
        assert "varus" in text_of(app)
        await pilot.press("f5")
        await pilot.pause()
        assert app.screen.kind == stage


async def test_what_cannot_be_is_said_below_the_line_and_the_sheet_stays() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        await opened(pilot, "worksheet")
        await pilot.press("f5")
        await pilot.press(*"12")
        await pilot.pause()
        assert "found 1 number, expected two numbers" in text_of(app)
        await pilot.press("f6")
        await pilot.pause()
        assert "found 1 number" not in text_of(app)
