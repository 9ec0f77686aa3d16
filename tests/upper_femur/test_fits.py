"""What is offered in place of a refused plan is allowed when it is worked out again, and is the most that is."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from pathway.upper_femur.fits import all_at_once, fits, least_bridge_mm, other_implants
from pathway.upper_femur.model import A, Femur, M, Plan, Refusal, U, placement, solved
from tests.upper_femur.test_model import EXAMPLES, given

REFUSED = [example for example in EXAMPLES if example["refused"]]
A_LITTLE_MM = 0.05


def of(name: str) -> tuple[Femur, Plan]:
    return given(next(example for example in EXAMPLES if example["name"].split()[0] == name)["inputs"])


def refused(bone: Femur, plan: Plan) -> tuple[Refusal, ...]:
    return solved(bone, plan).refused


@pytest.mark.parametrize("example", REFUSED, ids=lambda example: example["name"].split()[0])
def test_every_offer_answers_its_reason_and_tells_what_is_left(example) -> None:
    bone, plan = given(example["inputs"])
    offers = fits(bone, plan, solved(bone, plan))
    assert set(offers) == set(example["refused"])
    for reason, offer in offers.items():
        if offer is not None:
            assert reason not in refused(bone, offer.plan)
            assert refused(bone, offer.plan) == offer.left


@pytest.mark.parametrize("name", ["w08", "w09", "w10", "w12"])
def test_a_longer_blade_than_the_longest_is_refused(name) -> None:
    bone, plan = of(name)
    offer = next(
        one for why, one in fits(bone, plan, solved(bone, plan)).items() if one is not None and why.startswith("blade")
    )
    assert offer.plan.blade_mm is not None
    longer = replace(offer.plan, blade_mm=offer.plan.blade_mm + A_LITTLE_MM)
    assert any(why.startswith("blade") for why in refused(bone, longer))
    assert not any(why.startswith("blade") for why in refused(bone, offer.plan))


@pytest.mark.parametrize("name", ["w02", "w11"])
def test_where_the_wire_leaves_the_neck_no_length_is_offered(name) -> None:
    bone, plan = of(name)
    assert fits(bone, plan, solved(bone, plan)) == {"blade_leaves_neck": None}
    for length in (1.0, 5.0, 10.0, 20.0):
        assert "blade_leaves_neck" in refused(bone, replace(plan, blade_mm=length))


def test_a_wedge_that_meets_the_blade_is_made_as_large_as_the_bridge_allows() -> None:
    bone, plan = of("w13")
    offer = fits(bone, plan, solved(bone, plan))["wedge_meets_blade"]
    assert offer is not None
    assert offer.left == ()
    assert 0 < offer.plan.wedge_mm < plan.wedge_mm
    larger = replace(offer.plan, wedge_mm=offer.plan.wedge_mm + A_LITTLE_MM)
    assert "wedge_meets_blade" in refused(bone, larger)


def test_a_bridge_too_small_is_answered_by_the_highest_cut_that_leaves_it() -> None:
    bone, plan = of("w08")
    offer = fits(bone, plan, solved(bone, plan))["bridge_too_small"]
    assert offer is not None
    higher = replace(offer.plan, cut_below_corner_mm=offer.plan.cut_below_corner_mm - A_LITTLE_MM)
    assert "bridge_too_small" in refused(bone, higher)


def test_the_nearest_target_lies_between_now_and_what_was_wanted() -> None:
    bone, plan = of("w16")
    offer = fits(bone, plan, solved(bone, plan))["no_correction_reaches"]
    assert offer is not None
    assert bone.neck_shaft_deg < offer.plan.neck_shaft_deg < plan.neck_shaft_deg


def test_several_reasons_are_answered_at_once_where_they_can_be() -> None:
    bone, plan = of("w08")
    found = solved(bone, plan)
    assert len(found.refused) == 2
    together = all_at_once(bone, plan, found)
    assert together is not None
    assert refused(bone, together[0]) == ()
    bone, plan = of("w15")
    assert all_at_once(bone, plan, solved(bone, plan)) is None


def test_only_implants_that_are_allowed_are_named() -> None:
    bone, plan = of("w02")
    named = other_implants(bone, plan, (90.0, 100.0, 110.0, 120.0))
    assert set(named) == {110.0, 120.0}
    assert all(not refused(bone, replace(plan, implant_deg=angle)) for angle in named)
    assert refused(bone, replace(plan, implant_deg=100.0))


@pytest.mark.parametrize(
    "example", [one for one in EXAMPLES if not one["refused"]], ids=lambda one: one["name"].split()[0]
)
def test_the_least_bridge_is_the_lowest_point_of_the_blade_over_the_cut(example) -> None:
    # Independent of the formula: the blade's lower edge is walked in small steps while it is over the shaft.
    bone, plan = given(example["inputs"])
    settings = solved(bone, plan).settings
    assert settings is not None
    at = placement(bone, plan, settings)
    ahead = np.linspace(0.0, 4 * bone.shaft_width_mm, 40_001)
    points = at.entry + ahead[:, None] * at.wire
    over = np.hypot(points @ M, points @ A) <= bone.shaft_width_mm / 2 + 1e-9
    down = math.cos(math.asin(float(at.wire @ U)))
    heights = points[over] @ U - at.level_mm - plan.blade_thickness_mm / 2 / down
    assert least_bridge_mm(bone, plan, settings) == pytest.approx(heights.min(), abs=0.01)
