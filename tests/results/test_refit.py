"""The model of risk by amount with a clinic's own lengthenings beside print."""

from __future__ import annotations

import numpy as np

from pathway.protocol.load import load_protocol
from pathway.results.lengthenings import Lengthening
from pathway.results.refit import own_counts, refitted, usable
from pathway.risk.fitting import fit
from pathway.risk.pooled import SUMMARY, summary
from pathway.risk.terms import SLOPE

PROTOCOL = load_protocol()
CLINICS = 12
TOLD = ("regenerate_fracture", "deep_infection", "nerve_signs", "axis_deviation", "knee_subluxation")


def lengthening(percent: float, *events: str, followed: float = 24.0, number: int = 1) -> Lengthening:
    return Lengthening(
        sex="girl",
        diagnosis="congenital_femoral_deficiency",
        congenital=True,
        bone="femur",
        number=number,
        age_years=8.0,
        bone_mm=250.0,
        planned_mm=None,
        achieved_mm=2.5 * percent,
        device=PROTOCOL.usual_device("femur"),
        device_months=8.0,
        hip_cover="good",
        events=events,
        followed_months=followed,
    )


def clinic(children: int, slope: float, seed: int) -> list[list[Lengthening]]:
    """Return a lengthening of each child; events come the more often the more of the bone, by this slope."""
    rng = np.random.default_rng(seed)
    made = []
    for _ in range(children):
        percent = rng.uniform(10, 35)
        expected = np.exp(-2.0 + slope * (percent - 20) / 10)
        came = [name for name in TOLD if rng.random() < -np.expm1(-expected)]
        made.append([lengthening(percent, *came)])
    return made


def test_own_lengthenings_are_counted_by_kind_and_share_of_the_bone() -> None:
    own = [lengthening(21, "nerve_signs"), lengthening(24), lengthening(31, "hip_dislocation"), lengthening(22)]
    counts = {
        (one.what, round(one.percent.mean or 0)): (one.n, one.of)
        for one in own_counts(own, PROTOCOL)
        if one.percent is not None
    }
    assert counts["nerve_sign", 22] == (1, 3)
    assert counts["hip_instability", 31] == (1, 1)
    assert counts["fracture", 31] == (0, 1)


def test_what_was_not_followed_long_enough_or_has_no_share_of_the_bone_does_not_count() -> None:
    short, bare = lengthening(20, followed=3.0), lengthening(20)
    object.__setattr__(bare, "bone_mm", None)
    assert usable([short, bare, lengthening(20)], PROTOCOL) == (lengthening(20),)


def test_of_few_children_the_model_is_not_fitted_again_however_often_each_was_lengthened() -> None:
    three = [[lengthening(20, number=number) for number in range(1, 6)] for _ in range(3)]
    found = refitted(three, PROTOCOL)
    assert (found.lengthenings, found.left_out, found.coefficients) == (3, 12, ())


def test_own_lengthenings_narrow_the_slope_and_every_rate_that_complications_tell_of_is_told() -> None:
    (slope, *rates) = refitted(clinic(150, 0.5, 3), PROTOCOL).coefficients
    assert slope.name == "slope"
    assert slope.with_own_high - slope.with_own_low < 0.8 * (slope.published_high - slope.published_low)
    told = ("fracture", "axis", "hip", "knee", "nerve", "deep_infection")
    assert {one.name for one in rates} == {f"rate:{name}" for name in told}


def test_the_slope_of_own_lengthenings_is_the_one_that_they_were_made_with() -> None:
    true, held = 0.4, 0
    for seed in range(CLINICS):
        own = own_counts([some[0] for some in clinic(150, true, seed)], PROTOCOL)
        _, rows = summary(fit(own, PROTOCOL), own)
        slope = next(row for row in rows if row[0] == SLOPE)
        low, high = (float(slope[1 + SUMMARY.index(name)]) for name in ("q05", "q95"))
        held += low < true < high
    assert held >= 0.75 * CLINICS
