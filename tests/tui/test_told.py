"""What is told of the last edit leaves the timeline its room on the smallest screen, and goes when it was read."""

from __future__ import annotations

import pytest

from tests.tui.registry_of import enter_length
from tests.tui.screens_of import settled, text_of, the_app
from tests.tui.test_followup import ROWAN
from tui.widgets.timeline_view import TimelineView
from tui.widgets.told import MORE, Told

LEAST_LANES = 5


@pytest.mark.parametrize(("size", "most"), [((80, 24), 2), ((120, 40), 4)])
async def test_it_takes_few_rows_and_a_key_shows_all_of_it_then_puts_it_away(size, most) -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        free = app.screen.query_one(TimelineView).size.height
        await enter_length(pilot, "112")
        await pilot.pause()
        told = app.screen.query_one(Told)
        assert told.cut
        assert 0 < told.size.height <= most
        assert told.words.endswith(MORE)
        assert told.words.removesuffix(MORE)[-1] not in ",;:"
        assert app.screen.query_one(TimelineView).size.height >= min(LEAST_LANES, free - most)
        await pilot.press("m")
        await pilot.pause()
        shown = " ".join(text_of(app).split())
        assert all(sentence in shown for sentence in app.child_list["rowan-02"].told[:3])
        await pilot.press("m")
        await pilot.pause()
        assert told.size.height == 0
        assert app.screen.query_one(TimelineView).size.height == free
        await pilot.press("m")
        assert told.open


async def test_it_is_gone_after_another_screen_was_opened_and_the_next_edit_is_told_again() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(80, 24)) as pilot:
        await settled(pilot)
        await enter_length(pilot, "112")
        told = app.screen.query_one(Told)
        assert told.open
        await pilot.press("b", "escape")
        await pilot.pause()
        assert not told.open
        await pilot.press("ctrl+z")
        await settled(pilot)
        assert told.words.startswith("Undone: Follow-up entered")
