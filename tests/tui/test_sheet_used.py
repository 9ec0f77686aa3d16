"""The osteotomy's sheet as it stands on its screen is kept with the operation that is entered after it."""

from __future__ import annotations

import datetime

import pytest

from pathway.record import OsteotomyPlan
from tests.plans import DAY, files
from tests.tui.screens_of import opened, settled, text_of, the_app
from tui.followup.choices import SheetUsed
from tui.widgets.form import Form

ROWAN = {"rowan-02": files()["rowan-02"]}
OSTEOTOMY = "proximal_femoral_osteotomy"


@pytest.mark.parametrize(("typed", "kept"), [({}, True), ({"operation.planned": "keep none"}, False)])
async def test_it_goes_with_the_operation_unless_nobody_wants_it(typed: dict[str, str], kept: bool) -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        await opened(pilot, "theatre")
        planned = app.sheets["rowan-02"].numbers
        await opened(pilot, "follow_up")
        app.screen.begin_with({"operation.kind": "osteotomy of the proximal femur", **typed})
        app.screen.typed_anew()
        await pilot.pause()
        (done,) = app.screen.entered.record.operations
        assert (done.planned is not None) == kept
        if done.planned is not None:
            assert done.planned.valgus_deg == pytest.approx(planned["valgus_deg"], abs=0.01)
            assert "with the sheet that was used" in " ".join(app.screen.entered.facts)


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ({"operation.kind": "osteotomy of the proximal femur", "operation.date": "2026-11-24"}, False),
        ({"operation.kind": "osteotomy of the proximal femur", "date": "2024-05-02"}, False),
        (
            {
                "operation.kind": "osteotomy of the proximal femur",
                "operation.date": "2026-11-24",
                "operation.planned": "keep the sheet",
            },
            True,
        ),
    ],
)
async def test_an_operation_before_the_sheet_was_worked_out_takes_it_only_where_it_is_chosen(typed, kept) -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        await opened(pilot, "theatre")
        await opened(pilot, "follow_up")
        screen = app.screen
        screen.begin_with(typed)
        screen.typed_anew()
        await pilot.press("tab")
        await pilot.pause()
        (done,) = screen.entered.record.operations
        assert (done.planned is not None) == kept
        field = next(one for one in screen.query_one(Form).fields if one.name == "operation.planned")
        assert field.offered == "keep none"
        assert "kept only if you choose it" in field.wanted


def test_a_sheet_fits_its_own_kind_of_operation_from_the_day_on_which_it_was_worked_out() -> None:
    sheet = OsteotomyPlan.model_construct()
    used = SheetUsed(sheet, DAY, OSTEOTOMY)
    assert used.fits(OSTEOTOMY, DAY)
    assert used.fits(OSTEOTOMY, DAY + datetime.timedelta(days=7))
    assert not used.fits(OSTEOTOMY, DAY - datetime.timedelta(days=1))
    assert not used.fits("hip_preparation", DAY)
    assert not SheetUsed(sheet, DAY, None).fits(OSTEOTOMY, DAY)


async def test_without_an_opened_sheet_nothing_is_asked() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        await opened(pilot, "follow_up")
        app.screen.begin_with({"operation.kind": "osteotomy of the proximal femur"})
        app.screen.typed_anew()
        await pilot.pause()
        (done,) = app.screen.entered.record.operations
        assert done.planned is None
        assert "Sheet used" not in text_of(app)
