"""What an osteotomy was planned to do beside what the films after it show."""

from __future__ import annotations

import datetime
import math

import pytest
from hypothesis import given, reject
from hypothesis import strategies as st

from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.questions.achieved import TURNS, Achieved, achieved, without_sheet
from pathway.record import OsteotomyPlan, Record
from pathway.upper_femur.model import Femur, Plan, solved
from tests.sample import FILM, at_age, child, five_year_old, operation, visit

PROTOCOL = load_protocol()
DONE = at_age(5.2)
AFTER = at_age(5.4)
LATE = at_age(7)
KIND = "proximal_femoral_osteotomy"
BEFORE = {"neck_shaft_deg": 90.0, "version_deg": -20.0, "flexion_deg": 25.0}
TARGET = {"neck_shaft_deg": 125.0, "version_deg": 14.0}


def sheet(frame: str = "shaft_side", before: dict[str, float] = BEFORE, target: dict[str, float] = TARGET):
    """Return the sheet that the model of the bone gives, as it is kept."""
    bone = Femur(
        side="left",
        flexion_frame=frame,
        epiphyseal_deg=None,
        neck_mm=30,
        shaft_width_mm=16,
        neck_width_mm=18,
        neck_depth_mm=18,
        neck_wire_mm=34,
        length_mm=200,
        **before,
    )
    numbers = solved(bone, Plan(**target, implant_deg=130, wire_through_mm=15, cut_below_corner_mm=4)).numbers
    if numbers.get("valgus_deg") is None:
        reject()  # no correction reaches it
    told = {name: numbers[name] for name in OsteotomyPlan.model_fields if numbers.get(name) is not None}
    return OsteotomyPlan(flexion_frame=frame, **told)


def with_films(planned: OsteotomyPlan | None, *films: tuple[datetime.date, dict[str, float]], **done: object) -> Record:
    record = five_year_old(operations=(operation(KIND, DONE, planned=planned, **done),))
    return record.model_copy(
        update={"visits": (*record.visits, *(visit(day, found, method=FILM) for day, found in films))}
    )


def of(record: Record, on: datetime.date = LATE) -> Achieved:
    (one,) = achieved(Question(record, PROTOCOL, on))
    return one


def film(neck_shaft: float, version: float, **more: float) -> dict[str, float]:
    return {"neck_shaft_angle_deg": neck_shaft, "femoral_version_deg": version, **more}


class TestOneOsteotomy:
    """Each quantity as planned, as the film shows it, and what is more or less."""

    def test_angles_are_those_of_the_first_film_after(self) -> None:
        first = film(119, 20, proximal_femur_flexion_deg=4)
        record = with_films(sheet(), (AFTER, first), (at_age(5.9), film(110, 30)))
        found = of(record)
        assert found.film_on == AFTER
        assert found.implant_deg == 130
        for name, more in (("neck_shaft_after_deg", -6), ("version_after_deg", 6), ("flexion_after_deg", 4)):
            one = found.of(name)
            assert one is not None
            assert one.difference == pytest.approx(more, abs=1e-6)

    def test_the_length_is_what_was_entered_with_the_operation(self) -> None:
        planned = sheet()
        one = of(with_films(planned, achieved_mm=12)).of("length_gain_mm")
        assert one is not None
        assert planned.length_gain_mm is not None
        assert one.difference == pytest.approx(12 - planned.length_gain_mm)

    def test_a_film_of_before_of_a_later_year_or_after_another_osteotomy_tells_nothing(self) -> None:
        late = at_age(6.4)
        assert of(with_films(sheet(), (DONE, film(120, 14)), (late, film(120, 14)))).film_on is None
        again = with_films(sheet(), (at_age(5.8), film(120, 14)))
        both = (*again.operations, operation(KIND, at_age(5.6)))
        assert of(again.model_copy(update={"operations": both})).film_on is None

    def test_it_is_asked_on_a_day_and_later_films_are_not_known(self) -> None:
        record = with_films(sheet(), (AFTER, film(120, 14)))
        assert of(record, on=at_age(5.3)).film_on is None

    def test_without_a_film_nothing_is_achieved_and_nothing_is_lost(self) -> None:
        found = of(with_films(sheet()))
        assert all(one.achieved is None and one.difference is None for one in found.differences)
        assert {"neck_shaft_after_deg", *TURNS} <= {one.name for one in found.differences}

    def test_an_osteotomy_without_its_sheet_is_named(self) -> None:
        question = Question(with_films(None), PROTOCOL, LATE)
        assert achieved(question) == ()
        assert [one.kind for one in without_sheet(question)] == [KIND]
        assert without_sheet(Question(child(), PROTOCOL, LATE)) == ()


class TestTurns:
    """Valgus, extension and rotation that were achieved: the turn from the bone before to the bone on the film."""

    def test_in_a_flat_bone_they_are_differences_of_angles(self) -> None:
        """No version, no flexion: valgus is the growth of the neck-shaft angle (plane geometry)."""
        flat = {"neck_shaft_deg": 90.0, "version_deg": 0.0, "flexion_deg": 0.0}
        planned = sheet(before=flat, target={"neck_shaft_deg": 125.0, "version_deg": 0.0})
        found = of(with_films(planned, (AFTER, film(118, 0, proximal_femur_flexion_deg=0))))
        told = {name: found.of(name) for name in TURNS}
        assert [one.achieved for one in told.values() if one] == pytest.approx([28, 0, 0], abs=1e-6)
        assert [one.difference for one in told.values() if one] == pytest.approx([-7, 0, 0], abs=1e-6)

    @given(
        st.sampled_from(["shaft_side", "neck_plane"]),
        st.floats(70, 120),
        st.floats(-30, 50),
        st.floats(-10, 35),
        st.floats(115, 140),
        st.floats(-5, 30),
    )
    def test_a_film_as_planned_gives_the_turn_that_was_planned(self, frame, now, version, flexion, aim, aimed) -> None:
        planned = sheet(
            frame,
            {"neck_shaft_deg": now, "version_deg": version, "flexion_deg": flexion},
            {"neck_shaft_deg": aim, "version_deg": aimed},
        )
        left = flexion - planned.extension_deg
        found = of(with_films(planned, (AFTER, film(aim, aimed, proximal_femur_flexion_deg=left))))
        for name in (*TURNS, "neck_shaft_after_deg", "version_after_deg", "flexion_after_deg"):
            one = found.of(name)
            assert one is not None
            assert one.difference == pytest.approx(0, abs=0.02), name

    def test_without_the_flexion_left_no_extension_is_told(self) -> None:
        found = of(with_films(sheet(), (AFTER, film(125, 14))))
        one, valgus = found.of("extension_deg"), found.of("valgus_deg")
        assert one is not None and valgus is not None
        assert one.achieved is None
        assert valgus.difference == pytest.approx(0, abs=0.02)

    def test_a_difference_holds_the_reading_of_both_films(self) -> None:
        """Two independent readings: the errors add in squares."""
        found = of(with_films(sheet(), (AFTER, film(125, 14))))
        once, twice = found.of("neck_shaft_after_deg"), found.of("valgus_deg")
        assert once is not None and twice is not None
        assert once.reading_sd is not None and twice.reading_sd is not None
        assert twice.reading_sd == pytest.approx(once.reading_sd * math.sqrt(2))
