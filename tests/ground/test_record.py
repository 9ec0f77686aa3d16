"""A record in the message of a failing test can be read, and built again from what is printed."""

from __future__ import annotations

import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pathway import record as shapes
from pathway.record import Decision, Measurement, Record
from tests.sample import decision, five_year_old, operation

WHOLE = five_year_old(
    operations=(operation("hip_preparation", datetime.date(2026, 3, 2)),),
    decisions=(decision("waive_gate", gate="femoral_lengthening.hip_covered"),),
)


def test_what_is_as_by_default_is_not_printed() -> None:
    item = Measurement(finding="knee_motion_arc_deg", side="left", value=120.0, method="examination")
    expected = "Measurement(finding='knee_motion_arc_deg', side='left', value=120.0, method='examination')"
    assert repr(item) == expected


def test_what_is_printed_is_the_record() -> None:
    names = {name: getattr(shapes, name) for name in dir(shapes)}
    assert eval(repr(WHOLE), {**names, "datetime": datetime, "Date": datetime.date}) == WHOLE
    assert len(repr(WHOLE)) < 4000


def test_a_failing_property_shows_its_example_and_not_all_rules(protocol) -> None:
    @given(st.sampled_from(WHOLE.decisions))
    def never(protocol, made: Decision) -> None:
        raise AssertionError(made.kind)

    with pytest.raises(AssertionError) as caught:
        never(protocol)
    (note,) = [note for note in caught.value.__notes__ if "never(" in note]
    assert "Decision(" in note
    assert f"Protocol({protocol.version!r}" in note
    assert len(note) < 1000


def test_two_records_that_differ_print_differently() -> None:
    assert repr(WHOLE) != repr(Record(child=WHOLE.child))


def test_the_other_leg_is_seen_as_its_own_whatever_was_asked_before() -> None:
    """Who looked at the sides of a child with two short legs first must not plan one leg twice."""
    both = WHOLE.model_copy(update={"child": WHOLE.child.model_copy(update={"affected_side": "both"})})
    assert (both.affected_side, both.other_side) == ("left", "right")
    right = both.seen_from("right")
    assert (right.affected_side, right.other_side) == ("right", "left")
