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


async def chosen(pilot: Pilot[None], name: str) -> None:
    form = pilot.app.screen.query_one(Form)
    form.choose([field.name for field in form.fields].index(name))
    form.query_one(Input).focus()
    await pilot.pause()


async def test_typing_takes_the_place_of_a_default_and_goes_on_in_what_was_typed() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(120, 40)) as pilot:
        screen = await lengthening(pilot)
        await chosen(pilot, "amount_mm")
        assert screen.query_one(Input).value, "a default stands in the line"
        await pilot.press("3", "5")
        assert screen.typed["amount_mm"] == "35"
        await chosen(pilot, "device")
        await chosen(pilot, "amount_mm")
        await pilot.press("full_stop", "5")
        assert screen.typed["amount_mm"] == "35.5"


async def test_a_default_can_still_be_corrected_from_its_end() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(120, 40)) as pilot:
        screen = await lengthening(pilot)
        await chosen(pilot, "amount_mm")
        default = screen.query_one(Input).value
        await pilot.press("end", "full_stop", "5")
        assert screen.typed["amount_mm"] == f"{default}.5"


async def test_typing_takes_the_place_of_a_choice_that_was_taken() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(120, 40)) as pilot:
        screen = await lengthening(pilot)
        await chosen(pilot, "device")
        await pilot.press("f9")
        await pilot.press("n", "a", "i", "l")
        assert screen.typed["device"] == "nail"


async def osteotomy(pilot: Pilot[None]) -> WorksheetScreen:
    await settled(pilot)
    pilot.app.screen.select("proximal_femoral_osteotomy_1")  # type: ignore[attr-defined]
    await pilot.press("s")
    await settled(pilot)
    assert isinstance(pilot.app.screen, WorksheetScreen)
    return pilot.app.screen


async def test_a_value_that_another_input_lends_is_shown_as_lent_and_not_typed_into() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(120, 40)) as pilot:
        screen = await osteotomy(pilot)
        await put(pilot, "femoral_neck_length_mm", "")
        await put(pilot, "neck_wire_length_mm", "28")
        form = screen.query_one(Form)
        lent = next(field for field in form.fields if field.name == "femoral_neck_length_mm")
        assert (lent.value, lent.offered, lent.by_hand) == ("", "28", False)
        assert lent.origin == "as the neck length along the guide wire"
        await chosen(pilot, "femoral_neck_length_mm")
        await pilot.press("3", "0")
        assert screen.typed["femoral_neck_length_mm"] == "30"


async def test_a_fault_stands_at_its_own_field_by_its_name_and_under_no_other() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(120, 40)) as pilot:
        screen = await osteotomy(pilot)
        await put(pilot, "femoral_neck_length_mm", "500")
        form = screen.query_one(Form)
        assert "found '500', expected a number from 8 to 80 mm" in form.chosen.wrong  # type: ignore[union-attr]
        await chosen(pilot, "femoral_version_deg")
        assert form.chosen.wrong == ""  # type: ignore[union-attr]
        assert "500" not in str(form.query_one("#said").render())
        text = " ".join(text_of(app).split())
        assert "To correct first" in text
        assert "femoral_neck_length_mm" not in text
        label = screen.sheet.input("femoral_neck_length_mm").label  # type: ignore[union-attr]
        assert f"{label[:1].upper()}{label[1:]}: found '500'" in text


async def test_the_worksheet_of_another_stage_opens_at_its_top() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(120, 40)) as pilot:
        screen = await osteotomy(pilot)
        await pilot.press("pagedown")
        await pilot.pause()
        prose = screen.query_one("#sheet")
        assert prose.scroll_offset.y > 0
        await put(pilot, "blade_margin_mm", "4")
        assert prose.scroll_offset.y > 0, "typing leaves the sheet where it is"
        screen.action_stage(1)
        await pilot.pause()
        assert prose.scroll_offset.y == 0
