"""Screens of a child with two roads: how they stand, usual ages without dates, and the wish for one of them."""

from __future__ import annotations

from tests.tui.screens_of import settled, text_of, the_app
from tui.screens.courses import CoursesScreen
from tui.screens.details import DetailsScreen
from tui.screens.what_if import WhatIfScreen, wishes_of

SIZE = (200, 60)


async def test_the_roads_are_told_from_timeline_to_what_if() -> None:
    app = the_app("birch-04")
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        shown = " ".join(text_of(app).split())
        assert "Prosthesis ◇ Foot amputation" in shown
        assert "† lengthening road, not chosen" in shown
        app.screen.select("foot_amputation")  # type: ignore[attr-defined]
        await pilot.press("enter")
        await settled(pilot)
        assert isinstance(app.screen, DetailsScreen)
        shown = " ".join(text_of(app).split())
        assert "past the usual age (18 months); later is printed; no date: family and team decide" in shown
        await pilot.press("escape", "c")
        await settled(pilot)
        assert isinstance(app.screen, CoursesScreen)
        shown = " ".join(text_of(app).split())
        assert "First of the lengthening road; no road is chosen" in shown
        assert "20 of 41 such feet were kept" in shown
        assert "recommended" not in shown
        await pilot.press("i")
        await settled(pilot)
        assert isinstance(app.screen, WhatIfScreen)
        shown = text_of(app)
        assert "A prosthesis rather than lengthening" in shown
        assert "Lengthening rather than a prosthesis" in shown


def test_a_road_can_be_wished_for() -> None:
    assert wishes_of({"prosthesis": "yes"}).prefer == ("prosthesis",)
    assert wishes_of({"lengthening": "y", "prosthesis": "no"}).prefer == ("lengthening",)
