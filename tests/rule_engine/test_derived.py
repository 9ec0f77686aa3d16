"""Findings that are worked out: proportions before any lengthening, the difference of today, skeletal age."""

from __future__ import annotations

import datetime

import pytest

from pathway.days import add_months
from pathway.protocol.question import Question
from pathway.rule_engine.findings import Known, Unknown, current_discrepancy, findings_on
from tests.sample import child, operation, visit

Day = datetime.date
FIRST, SECOND = Day(2024, 3, 14), Day(2026, 3, 14)


def legs(femur: float, tibia: float, other_femur: float, other_tibia: float) -> dict[str, float]:
    return {
        "affected.femur_length_mm": femur,
        "affected.tibia_length_mm": tibia,
        "other.femur_length_mm": other_femur,
        "other.tibia_length_mm": other_tibia,
    }


SHORT = legs(120, 144, 160, 160)
LENGTHENED = legs(200, 170, 200, 180)


def derived(record, protocol, name: str, on: Day = SECOND):
    return findings_on(Question(record, protocol, on))[name, "affected"]


class TestProportion:
    """The proportion of the legs is what the child was born with: it is read before the first lengthening."""

    # 120/160, 144/160 and 1 - 264/320 = 0.175.
    @pytest.mark.parametrize(
        ("name", "value"),
        [("femur_length_ratio", 0.75), ("tibia_length_ratio", 0.9), ("limb_shortening_percent", 17.5)],
    )
    def test_it_is_short_over_long_of_one_visit(self, name, value, protocol) -> None:
        fact = derived(child(visit(FIRST, SHORT)), protocol, name)
        assert fact == Known(value, protocol.finding(name).sd, FIRST, "computed")

    def test_the_latest_visit_counts_while_nothing_was_lengthened(self, protocol) -> None:
        record = child(visit(FIRST, SHORT), visit(SECOND, legs(160, 180, 200, 200)))
        assert derived(record, protocol, "femur_length_ratio").value == 0.8

    def test_after_a_lengthening_the_visit_before_it_counts(self, protocol) -> None:
        done = operation("femoral_lengthening", Day(2025, 1, 7), achieved_mm=40, device_removed=Day(2025, 7, 1))
        record = child(visit(FIRST, SHORT), visit(SECOND, LENGTHENED), operations=(done,))
        assert derived(record, protocol, "femur_length_ratio").value == 0.75
        assert derived(record, protocol, "limb_shortening_percent").value == 17.5

    def test_the_lengthening_of_the_other_bone_leaves_a_bone_alone(self, protocol) -> None:
        done = operation("femoral_lengthening", Day(2025, 1, 7), achieved_mm=40)
        record = child(visit(FIRST, SHORT), visit(SECOND, LENGTHENED), operations=(done,))
        assert derived(record, protocol, "tibia_length_ratio").value == pytest.approx(170 / 180, abs=1e-4)

    def test_a_visit_on_the_day_of_the_operation_was_before_it(self, protocol) -> None:
        done = operation("femoral_lengthening", FIRST, achieved_mm=40)
        record = child(visit(FIRST, SHORT), operations=(done,))
        assert derived(record, protocol, "femur_length_ratio").value == 0.75

    def test_measured_only_after_a_lengthening_it_is_not_known(self, protocol) -> None:
        done = operation("femoral_lengthening", Day(2025, 1, 7), achieved_mm=40)
        record = child(visit(SECOND, LENGTHENED), operations=(done,))
        needs = "it needs femur of both legs from one visit before any lengthening"
        assert derived(record, protocol, "femur_length_ratio") == Unknown("never_measured", because=needs)

    def test_other_operations_leave_it(self, protocol) -> None:
        done = operation("hip_preparation", Day(2025, 1, 7))
        record = child(visit(SECOND, SHORT), operations=(done,))
        assert derived(record, protocol, "femur_length_ratio").value == 0.75

    def test_one_leg_alone_gives_none(self, protocol) -> None:
        record = child(visit(FIRST, {"femur_length_mm": 120.0}))
        needs = "it needs femur of both legs from one visit"
        assert derived(record, protocol, "femur_length_ratio") == Unknown("never_measured", because=needs)
        assert derived(record, protocol, "tibia_length_ratio") == Unknown("never_measured")

    def test_femora_without_tibiae_give_the_ratio_of_the_femora_only(self, protocol) -> None:
        femora = {name: mm for name, mm in SHORT.items() if "femur" in name}
        record = child(visit(FIRST, femora))
        assert derived(record, protocol, "femur_length_ratio").value == 0.75
        needs = "it needs femur and tibia of both legs from one visit"
        assert derived(record, protocol, "limb_shortening_percent") == Unknown("never_measured", because=needs)

    def test_the_sides_are_those_of_the_child(self, protocol) -> None:
        record = child(visit(FIRST, SHORT, side="right"), side="right")
        assert derived(record, protocol, "femur_length_ratio").value == 0.75


class TestDifferenceNow:
    """The difference of today comes from the four bones, else from the blocks under the short leg."""

    def test_from_the_four_bones(self, protocol) -> None:
        record = child(visit(SECOND, SHORT))
        assert derived(record, protocol, "current_discrepancy_mm").value == 56.0

    def test_from_the_block_test_where_a_bone_is_missing(self) -> None:
        seen = visit(SECOND, {"femur_length_mm": 120.0, "leg_length_discrepancy_mm": 95.0})
        assert current_discrepancy(seen, child(seen)) == 95.0

    def test_the_bones_win_over_the_blocks(self) -> None:
        seen = visit(SECOND, {**SHORT, "leg_length_discrepancy_mm": 95.0})
        assert current_discrepancy(seen, child(seen)) == 56.0

    def test_entered_on_the_long_side_it_is_the_other_way_round(self) -> None:
        seen = visit(SECOND, {"other.leg_length_discrepancy_mm": 15.0})
        assert current_discrepancy(seen, child(seen)) == -15.0

    def test_without_either_there_is_none(self, protocol) -> None:
        seen = visit(SECOND, {"femur_length_mm": 120.0})
        assert current_discrepancy(seen, child(seen)) is None
        needs = "it needs femur and tibia of both legs from one visit, or the difference itself"
        assert derived(child(seen), protocol, "current_discrepancy_mm") == Unknown("never_measured", because=needs)

    def test_a_treated_leg_that_is_longer_counts_below_zero(self, protocol) -> None:
        record = child(visit(SECOND, legs(170, 164, 160, 160)))
        assert derived(record, protocol, "current_discrepancy_mm").value == -14.0

    @pytest.mark.parametrize("kind", ["femoral_lengthening", "tibial_lengthening"])
    def test_a_lengthening_since_then_makes_it_out_of_date(self, kind, protocol) -> None:
        done = operation(kind, Day(2026, 6, 1), achieved_mm=40)
        fact = derived(child(visit(SECOND, SHORT), operations=(done,)), protocol, "current_discrepancy_mm", done.date)
        assert fact.why == "out_of_date"
        assert fact.last.value == 56.0

    def test_it_counts_as_long_as_the_catalogue_says(self, protocol) -> None:
        record = child(visit(SECOND, SHORT))
        day = add_months(SECOND, protocol.finding("current_discrepancy_mm").valid_months)
        assert derived(record, protocol, "current_discrepancy_mm", day).why == "out_of_date"
        day_before = day - datetime.timedelta(days=1)
        assert derived(record, protocol, "current_discrepancy_mm", day_before).value == 56.0


class TestSkeletalAge:
    """The reading of the hand film belongs to the visit and to the whole child."""

    def test_the_latest_reading_counts_until_it_is_too_old(self, protocol) -> None:
        record = child(visit(FIRST, skeletal_age=1.9), visit(SECOND, skeletal_age=3.5))
        assert derived(record, protocol, "skeletal_age_years").value == 3.5
        assert derived(record, protocol, "skeletal_age_years", FIRST).value == 1.9
        late = add_months(SECOND, protocol.finding("skeletal_age_years").valid_months)
        assert derived(record, protocol, "skeletal_age_years", late).why == "out_of_date"

    def test_a_visit_without_a_hand_film_leaves_the_earlier_reading(self, protocol) -> None:
        record = child(visit(FIRST, skeletal_age=1.9), visit(Day(2024, 9, 1)))
        assert derived(record, protocol, "skeletal_age_years", Day(2024, 9, 1)).value == 1.9

    def test_its_error_is_that_of_the_way_of_reading(self, protocol) -> None:
        seen = visit(FIRST, skeletal_age=1.9)
        unsaid = derived(child(seen), protocol, "skeletal_age_years", FIRST)
        atlas = seen.model_copy(update={"skeletal_age_method": "hand_atlas"})
        known = derived(child(atlas), protocol, "skeletal_age_years", FIRST)
        assert (unsaid.sd, unsaid.method) == (protocol.number("skeletal_age_unknown_method_sd_years"), "hand_film")
        assert (known.sd, known.method) == (protocol.number("skeletal_age_reading_sd_years"), "hand_atlas")

    def test_without_any_reading_it_was_never_measured(self, protocol) -> None:
        assert derived(child(visit(FIRST)), protocol, "skeletal_age_years") == Unknown("never_measured")
