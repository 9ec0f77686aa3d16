"""What is told of the last edit leaves the timeline its room on the smallest screen, and goes when it was read."""

from __future__ import annotations

import pytest

from pathway.views.words.caution import CAUTION
from tests.tui.registry_of import enter_length
from tests.tui.screens_of import settled, text_of, the_app
from tests.tui.test_followup import ROWAN
from tui.screens.message import MessageScreen
from tui.widgets.prose import Prose
from tui.widgets.timeline_view import TimelineView
from tui.widgets.told import MORE, Told


@pytest.mark.parametrize(("size", "most"), [((80, 24), 2), ((120, 40), 4)])
async def test_it_takes_few_rows_and_a_key_opens_all_of_it_and_then_it_is_gone(size, most) -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        timeline = app.screen
        free = timeline.query_one(TimelineView).size.height
        await enter_length(pilot, "112")
        await pilot.pause()
        told = timeline.query_one(Told)
        assert 0 < told.size.height <= most
        assert told.words.endswith(MORE)
        assert told.words.removesuffix(MORE)[-1] not in ",;:"
        assert timeline.query_one(TimelineView).size.height >= free - most
        await pilot.press("m")
        await pilot.pause()
        page = app.screen
        assert isinstance(page, MessageScreen)
        assert CAUTION in " ".join(text_of(app).split())
        assert tuple(say.text for say in page.query_one(Prose).said) == app.child_list["rowan-02"].told
        await pilot.press("end")
        await pilot.pause()
        assert page.query_one(Prose).said[-1].text.split()[-1] in text_of(app)
        await pilot.press("escape")
        await pilot.pause()
        assert app.screen is timeline
        assert told.size.height == 0
        assert timeline.query_one(TimelineView).size.height == free


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
