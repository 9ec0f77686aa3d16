"""The table of growth by age goes on until after the last operation, and holds every gain."""

from __future__ import annotations

import pytest

from pathway.plan.model import Plan
from tests.examples import NAMES, example_plan

SOME_MONTHS = 0.25
LENGTHENED = {"femoral_lengthening": "short_femur_mm", "tibial_lengthening": "short_tibia_mm"}
PLANNED = tuple(name for name in NAMES if example_plan(name).growth.by_age and example_plan(name).alternatives)


def gains(of: Plan) -> dict[float, tuple[str, float]]:
    assert of.recommended is not None
    return {s.age_years: (s.kind, s.amount_mm or 0.0) for s in of.recommended.stages if s.kind in LENGTHENED}


@pytest.mark.parametrize("name", PLANNED)
def test_the_table_ends_with_growth_or_some_months_after_the_last_lengthening(name: str) -> None:
    of = example_plan(name)
    last = of.growth.by_age[-1].age_years
    assert last >= of.growth.mature_age_years - 0.01
    if gains(of):
        assert last >= max(gains(of)) + SOME_MONTHS


@pytest.mark.parametrize("name", PLANNED)
def test_a_bone_is_longer_by_its_amount_at_the_first_point_after_each_lengthening(name: str) -> None:
    """Between two points a bone grows too, by less than a cm where they are a quarter of a year apart."""
    points = example_plan(name).growth.by_age
    for age, (kind, amount) in gains(example_plan(name)).items():
        before = [point for point in points if point.age_years < age][-1]
        after = next(point for point in points if point.age_years >= age)
        rise = getattr(after, LENGTHENED[kind]) - getattr(before, LENGTHENED[kind])
        assert amount - 0.2 <= rise <= amount + 10


def test_a_grown_childs_table_holds_both_operations_after_growth() -> None:
    """Worked out by hand: no bone grows any more, so that the legs differ by what they did less the two amounts."""
    of = example_plan("elder-15")
    points, done = of.growth.by_age, [amount for _, amount in gains(of).values()]
    assert of.child.age_years > of.growth.mature_age_years
    assert len(done) == 2
    assert points[-1].age_years - max(gains(of)) == pytest.approx(0.5)
    gap = [point.long_leg_mm - point.short_leg_mm for point in points]
    assert gap == pytest.approx([gap[0], gap[0] - done[0], gap[0] - sum(done), gap[0] - sum(done)], abs=1)
    assert [point.with_plan_mm.p50 for point in points] == pytest.approx(gap, abs=1)


@pytest.mark.parametrize("name", PLANNED)
def test_thigh_and_shin_add_up_to_the_leg(name: str) -> None:
    for point in example_plan(name).growth.by_age:
        assert point.long_femur_mm + point.long_tibia_mm == pytest.approx(point.long_leg_mm, abs=0.11)
        assert point.short_femur_mm + point.short_tibia_mm == pytest.approx(point.short_leg_mm, abs=0.11)
