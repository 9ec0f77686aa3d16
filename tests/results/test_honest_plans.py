"""Children who grow as their accepted plan says they may, filmed with the error that films have: from plan to figure.

The truth is drawn from the bands as printed; what is told of them goes the whole way, through record and revision.
"""

from __future__ import annotations

import datetime

import numpy as np
import pytest
from numpy.random import Generator

from pathway.plan.growth import Quantiles
from pathway.protocol.load import load_protocol
from pathway.record import Record, Visit
from pathway.results.child import known_of
from pathway.results.clinic import Clinic, Results
from tests.examples import example, example_plan
from tests.results.test_child import FILM, LATER, LONG, NAME, SHORT, accepted, as_kept, bare, filmed

PROTOCOL = load_protocol()
CLINICS, CHILDREN = 100, 20
PLACES = (1, 4, 9)
"""Points of the plan at which a child is filmed."""
BONE_SD_MM = next(one.length_sd_mm for one in PROTOCOL.methods if one.id == FILM) or 0.0


def drawn(band: Quantiles, z: float) -> float:
    """Return the value of a band so many SD from its middle: a normal distribution on either side."""
    reach = band.p95 - band.p50 if z > 0 else band.p50 - band.p05
    return band.p50 + z * reach / 1.6449


def child(rng: Generator, number: int, *, left_reads_mm: float = 0.0) -> Record:
    """Return a child whose true difference runs along one place of the band, filmed with an error at every bone."""
    plan, record = bare(example_plan(NAME)), example(NAME)
    side = "left" if rng.random() < 0.5 else "right"
    own = record.child.model_copy(update={"id": f"child-{number}", "affected_side": side})
    bare_record = record.model_copy(update={"child": own, "visits": (), "operations": ()})
    z = rng.standard_normal()
    visits: list[Visit] = []
    for place in PLACES:
        point = plan.growth.by_age[place]
        true = drawn(point.discrepancy_mm, z)
        legs = {LONG: point.long_leg_mm, SHORT: point.long_leg_mm - true}
        read = {}
        for leg, mm in legs.items():
            longer = left_reads_mm if (side == "left") == (leg == SHORT) else 0.0
            femur, tibia = 0.55 * mm + longer, 0.45 * mm
            read[leg] = (femur + BONE_SD_MM * rng.standard_normal(), tibia + BONE_SD_MM * rng.standard_normal())
        visits.append(filmed(bare_record, datetime.date.fromisoformat(str(point.date)), read))
    return bare_record.model_copy(update={"visits": tuple(visits)})


def clinic(seed: int, *, children: int = CHILDREN, left_reads_mm: float = 0.0) -> Results:
    rng, revision = np.random.default_rng([17, seed]), accepted(as_kept(bare(example_plan(NAME))))
    made = Clinic(PROTOCOL)
    for number in range(children):
        made.add(known_of(child(rng, number, left_reads_mm=left_reads_mm), (revision,), PROTOCOL, LATER))
    return made.results()


@pytest.fixture(scope="module")
def honest() -> list[Results]:
    return [clinic(seed) for seed in range(CLINICS)]


def test_of_children_who_grow_as_the_plan_says_half_and_nine_tenths_lie_in_its_bands(honest: list[Results]) -> None:
    whole = [one.predicted[0] for one in honest]
    assert np.mean([one.within_50.per_100 for one in whole]) == pytest.approx(50, abs=4)
    assert np.mean([one.within_90.per_100 for one in whole]) == pytest.approx(90, abs=2)


def test_the_intervals_of_their_clinics_hold_what_is_true_of_them(honest: list[Results]) -> None:
    whole = [one.predicted[0] for one in honest]
    assert np.mean([one.within_50.low <= 50 <= one.within_50.high for one in whole]) >= 0.87
    assert np.mean([one.within_90.low <= 90 <= one.within_90.high for one in whole]) >= 0.87


def test_their_clinics_are_hardly_ever_told_that_something_is_off(honest: list[Results]) -> None:
    told = [one.predicted[0].off_mm.found or one.left_less_right_mm.found for one in honest]
    assert np.mean(told) <= 0.05


def test_films_of_left_legs_that_read_five_millimetres_too_long_are_told_as_such() -> None:
    sides = [clinic(seed, children=40, left_reads_mm=5.0).left_less_right_mm for seed in range(25)]
    assert np.mean([bool(one.found and one.mean is not None and one.mean > 0) for one in sides]) >= 0.8
    assert np.mean([one.mean for one in sides if one.mean is not None]) == pytest.approx(5.0, abs=1.0)
