"""The osteotomy's sheet as it stands on its screen is kept with the operation that is entered after it."""

from __future__ import annotations

import pytest

from tests.plans import files
from tests.tui.screens_of import opened, settled, text_of, the_app

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
        app.screen.typed = {"operation.kind": "osteotomy of the proximal femur", **typed}
        app.screen.typed_anew()
        await pilot.pause()
        (done,) = app.screen.entered.record.operations
        assert (done.planned is not None) == kept
        if done.planned is not None:
            assert done.planned.valgus_deg == pytest.approx(planned["valgus_deg"], abs=0.01)
            assert "with the sheet that was used" in " ".join(app.screen.entered.facts)


async def test_without_an_opened_sheet_nothing_is_asked() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        await opened(pilot, "follow_up")
        app.screen.typed = {"operation.kind": "osteotomy of the proximal femur"}
        app.screen.typed_anew()
        await pilot.pause()
        (done,) = app.screen.entered.record.operations
        assert done.planned is None
        assert "Sheet used" not in text_of(app)
