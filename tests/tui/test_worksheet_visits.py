"""Visits of a lengthening typed on the worksheet's screen: read as on the command line, asked back there too."""

from __future__ import annotations

from textual.pilot import Pilot
from textual.widgets import Input

from tests.tui.screens_of import settled, text_of, the_app
from tui.screens.worksheet import WorksheetScreen
from tui.widgets.form import Form

SIZE = (200, 60)


async def put(pilot: Pilot[None], name: str, text: str) -> str:
    """Type a whole text into the field of a name; returns what is shown then."""
    form = pilot.app.screen.query_one(Form)
    form.choose([field.name for field in form.fields].index(name))
    form.query_one(Input).value = text
    await pilot.pause()
    return " ".join(text_of(pilot.app).split())


async def test_visits_are_typed_and_plan_the_rest_anew() -> None:
    app = the_app("rowan-02")
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        app.screen.select("femoral_lengthening_1")  # type: ignore[attr-defined]
        await pilot.press("s")
        await settled(pilot)
        screen = app.screen
        assert isinstance(screen, WorksheetScreen)
        await put(pilot, "operation_on", "2026-11-02")
        await put(pilot, "visits", "2026-11-16:7:7:0.75,2026-11-24:-:13")
        assert screen.sheet is not None
        rows = screen.sheet.section("Visits so far").tables[0].rows
        assert [row[3] for row in rows] == [7.0, 13.0]
        shown = await put(pilot, "visits", "2026-11-13:-:45")
        assert "Asked back: film of 2026-11-13 shows 45 mm after 4 mm turned" in shown
        shown = await put(pilot, "visits", "2026-11")
        assert "DAY:TURNED:FILM:RATE" in shown
        assert screen.sheet.section("Visits so far").tables[0].rows[0][3] == 4.0
        await put(pilot, "visits", "")
        assert "visits" not in screen.typed
        assert screen.sheet.drawings
