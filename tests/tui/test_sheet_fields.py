"""Inputs of a worksheet as they are typed: devices by name, lengths in cm, nothing worked out of a doubtful unit."""

from __future__ import annotations

import pytest
from textual.pilot import Pilot
from textual.widgets import Input

from tests.plans import files
from tests.tui.screens_of import settled, text_of, the_app
from tui.screens.what_if import Wrong, wishes_of
from tui.screens.worksheet import WorksheetScreen
from tui.widgets.form import Form
from tui.widgets.offered import Offered

ROWAN = {"rowan-02": files()["rowan-02"]}


async def lengthening(pilot: Pilot[None]) -> WorksheetScreen:
    await settled(pilot)
    pilot.app.screen.select("femoral_lengthening_1")  # type: ignore[attr-defined]
    await pilot.press("s")
    await settled(pilot)
    assert isinstance(pilot.app.screen, WorksheetScreen)
    return pilot.app.screen


async def put(pilot: Pilot[None], name: str, text: str) -> None:
    form = pilot.app.screen.query_one(Form)
    form.choose([field.name for field in form.fields].index(name))
    form.query_one(Input).value = text
    await pilot.pause()


async def test_devices_are_offered_by_name_and_stepped_through() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(120, 40)) as pilot:
        screen = await lengthening(pilot)
        device = screen.query_one(Form).fields[0]
        assert device.means == "frame, then a rod"
        assert "internal lengthening nail (femur)" in screen.query_one(Offered).words
        assert "femoral_frame_then_rod" not in text_of(app)
        assert "F9 Next choice" in text_of(app)
        await pilot.press("f9")
        assert screen.sheet is not None
        assert screen.sheet.input("device").origin == "by_hand"
        await put(pilot, "device", "nail (femur)")
        assert screen.sheet.input("device").value == "femoral_internal_nail"


async def test_an_amount_in_cm_is_taken_and_a_bare_one_is_asked_back() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(120, 40)) as pilot:
        screen = await lengthening(pilot)
        await put(pilot, "amount_mm", "3.5 cm")
        assert screen.sheet is not None
        assert screen.sheet.input("amount_mm").value == 35.0
        assert "amount: 35 mm" in text_of(app)
        await put(pilot, "amount_mm", "4.5")
        assert screen.sheet.input("amount_mm").value == 35.0
        form = " ".join(" ".join(line[:44] for line in text_of(app).split("\n")).split())
        assert "found 4.5, expected about 40 mm; did you mean 4.5 cm (45 mm)? Choose it below" in form
        assert "As it was before the last change" in text_of(app)
        await pilot.press("f9")
        assert screen.sheet.input("amount_mm").value == 45.0


def test_a_lift_is_wished_for_in_cm_or_in_mm() -> None:
    assert [wishes_of({"lift": text}).lift_at_most_mm for text in ("2", "2 cm", "20 mm")] == [20.0, 20.0, 20.0]
    with pytest.raises(Wrong, match="expected a number from 0 to 30"):
        wishes_of({"lift": "40"})
