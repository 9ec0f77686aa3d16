"""The title of a timeline: whatever the width, the state of the plan is told whole."""

from __future__ import annotations

import pytest

from pathway.views.words.titles import title_of
from tests.plans import files, plan

STATES = ((), ("not yet accepted (a)",), ("✎ not saved", "accepted before (a)"), ("accepted 2026-11-25",))


@pytest.mark.parametrize("child", files())
@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("width", [78, 98, 118, 198])
def test_child_and_state_are_whole_in_the_title_at_every_width(child, state, width) -> None:
    title = title_of(plan(child), state, width)
    assert len(title) <= width
    assert title.startswith(f"{child}: ")
    assert all(one in title for one in state)


def test_the_diagnosis_makes_room_for_the_state() -> None:
    wide = title_of(plan("rowan-02"), ("✎ not saved", "not yet accepted (a)"), 118)
    assert "congenital femoral deficiency, left; 2026-11-25 ✎ not saved, not yet accepted (a)" in wide
    narrow = title_of(plan("rowan-02"), ("✎ not saved", "not yet accepted (a)"), 78)
    assert narrow == "rowan-02: girl, 2 y 8 m, congenital f…, left ✎ not saved, not yet accepted (a)"


def test_where_there_is_hardly_room_the_state_stays_with_the_id() -> None:
    assert title_of(plan("rowan-02"), ("not yet accepted (a)",), 38) == "rowan-02, not yet accepted (a)"
