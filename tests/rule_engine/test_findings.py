"""What is known on a day is the latest value of each finding, unless it is too old or an operation altered it."""

from __future__ import annotations

import datetime

import pytest

from pathway.days import add_months
from pathway.protocol.question import Question
from pathway.record import Measurement, Missing
from pathway.rule_engine.findings import Known, Unknown, findings_on, measurement_sd
from tests.sample import LEGS, child, operation, visit

Day = datetime.date
MAY = Day(2026, 5, 12)
NOVEMBER = Day(2026, 11, 18)
ANGLE = "center_edge_angle_deg"
KEY = (ANGLE, "affected")


def test_a_finding_that_was_measured_is_known_with_its_day_method_and_error(protocol) -> None:
    record = child(visit(MAY, {ANGLE: 12.0}, method="supine_hip_film"))
    assert findings_on(Question(record, protocol, NOVEMBER))[KEY] == Known(12.0, 4.0, MAY, "supine_hip_film")


def test_every_finding_of_the_catalogue_has_an_answer(protocol) -> None:
    found = findings_on(Question(child(), protocol, MAY))
    assert {name for name, _ in found} == protocol.finding_ids()
    counted = found.pop(("growth_films", "affected"))
    assert counted == Known(0.0, 0.0, MAY, "computed")
    for left in ("hip_slipped_at_lengthening", "knee_slipped_at_lengthening", "knee_stiff_after_lengthening"):
        assert found.pop((left, "affected")) == Known(False, 0.0, MAY, "computed")
    assert all(fact == Unknown("never_measured") for fact in found.values())


def test_the_visits_at_which_all_four_bones_were_measured_are_counted(protocol) -> None:
    record = child(visit(MAY, LEGS), visit(NOVEMBER, {**LEGS, ANGLE: 12.0}))
    assert findings_on(Question(record, protocol, MAY))["growth_films", "affected"].value == 1
    assert findings_on(Question(record, protocol, NOVEMBER))["growth_films", "affected"].value == 2


def test_the_latest_of_several_values_counts(protocol) -> None:
    record = child(visit(MAY, {ANGLE: 12.0}), visit(NOVEMBER, {ANGLE: 17.0}))
    assert findings_on(Question(record, protocol, NOVEMBER))[KEY].value == 17.0


def test_a_visit_that_did_not_measure_it_leaves_the_earlier_value(protocol) -> None:
    record = child(visit(MAY, {ANGLE: 12.0}), visit(NOVEMBER, {"hip_joint": "reduced"}))
    assert findings_on(Question(record, protocol, NOVEMBER))[KEY].value == 12.0


def test_a_visit_after_the_day_is_not_looked_at(protocol) -> None:
    record = child(visit(MAY, {ANGLE: 12.0}), visit(NOVEMBER, {ANGLE: 17.0}))
    assert findings_on(Question(record, protocol, NOVEMBER - datetime.timedelta(days=1)))[KEY].value == 12.0
    assert findings_on(Question(record, protocol, NOVEMBER))[KEY].value == 17.0
    assert findings_on(Question(record, protocol, MAY - datetime.timedelta(days=1)))[KEY] == Unknown("never_measured")


class TestValidity:
    """A finding counts for the months that the catalogue gives it; from that day on it is out of date."""

    def test_the_day_before_it_still_counts(self, protocol) -> None:
        last_day = add_months(MAY, protocol.finding(ANGLE).valid_months) - datetime.timedelta(days=1)
        assert isinstance(findings_on(Question(child(visit(MAY, {ANGLE: 12.0})), protocol, last_day))[KEY], Known)

    def test_on_the_day_itself_it_is_out_of_date_and_the_value_is_kept(self, protocol) -> None:
        day = add_months(MAY, protocol.finding(ANGLE).valid_months)
        fact = findings_on(Question(child(visit(MAY, {ANGLE: 12.0})), protocol, day))[KEY]
        assert isinstance(fact, Unknown)
        assert fact.why == "out_of_date"
        assert fact.last == Known(12.0, 4.0, MAY, "standing_full_length_film")
        assert fact.because == "measured 12 months ago, valid for 12"

    def test_a_finding_without_a_limit_never_gets_old(self, protocol) -> None:
        assert protocol.finding("femur_length_mm").valid_months is None
        record = child(visit(MAY, {"femur_length_mm": 120.0}))
        assert findings_on(Question(record, protocol, Day(2040, 1, 1)))["femur_length_mm", "affected"].value == 120.0

    @pytest.mark.parametrize(("measured", "first_day_too_old"), [(Day(2024, 2, 29), Day(2025, 2, 28))])
    def test_months_are_calendar_months(self, measured, first_day_too_old, protocol) -> None:
        record = child(visit(measured, {ANGLE: 12.0}))
        before = first_day_too_old - datetime.timedelta(days=1)
        assert isinstance(findings_on(Question(record, protocol, before))[KEY], Known)
        assert isinstance(findings_on(Question(record, protocol, first_day_too_old))[KEY], Unknown)


class TestAlteredByAnOperation:
    """What an operation alters must be measured anew."""

    def test_a_value_from_before_is_out_of_date_and_says_after_which_operation(self, protocol) -> None:
        done = operation("hip_preparation", Day(2026, 7, 7))
        fact = findings_on(Question(child(visit(MAY, {ANGLE: 12.0}), operations=(done,)), protocol, NOVEMBER))[KEY]
        assert isinstance(fact, Unknown)
        assert fact.why == "out_of_date"
        assert fact.last.value == 12.0
        assert fact.because == "measured before the operation of 2026-07-07 (hip preparation)"

    def test_a_value_of_the_very_day_was_taken_before_the_operation(self, protocol) -> None:
        done = operation("hip_preparation", MAY)
        fact = findings_on(Question(child(visit(MAY, {ANGLE: 12.0}), operations=(done,)), protocol, NOVEMBER))[KEY]
        assert isinstance(fact, Unknown)

    def test_a_value_from_afterwards_counts(self, protocol) -> None:
        done = operation("hip_preparation", Day(2026, 7, 7))
        record = child(visit(MAY, {ANGLE: 12.0}), visit(NOVEMBER, {ANGLE: 26.0}), operations=(done,))
        assert findings_on(Question(record, protocol, NOVEMBER))[KEY].value == 26.0

    def test_what_the_operation_does_not_alter_stays(self, protocol) -> None:
        assert "neck_shaft_angle_deg" not in protocol.stage("hip_preparation").alters
        done = operation("hip_preparation", Day(2026, 7, 7))
        record = child(visit(MAY, {"neck_shaft_angle_deg": 100.0}), operations=(done,))
        assert findings_on(Question(record, protocol, NOVEMBER))["neck_shaft_angle_deg", "affected"].value == 100.0

    def test_an_operation_after_the_day_alters_nothing_yet(self, protocol) -> None:
        done = operation("hip_preparation", NOVEMBER)
        record = child(visit(MAY, {ANGLE: 12.0}), operations=(done,))
        day_before = NOVEMBER - datetime.timedelta(days=1)
        assert isinstance(findings_on(Question(record, protocol, day_before))[KEY], Known)
        assert isinstance(findings_on(Question(record, protocol, NOVEMBER))[KEY], Unknown)

    def test_the_other_leg_is_not_altered(self, protocol) -> None:
        done = operation("hip_preparation", Day(2026, 7, 7))
        record = child(visit(MAY, {f"other.{ANGLE}": 30.0}), operations=(done,))
        assert findings_on(Question(record, protocol, NOVEMBER))[ANGLE, "other"].value == 30.0

    def test_a_finding_of_the_whole_child_is_altered_too(self, protocol) -> None:
        assert "therapy_arranged" in protocol.stage("femoral_lengthening").alters
        done = operation("femoral_lengthening", Day(2026, 7, 7), achieved_mm=50)
        record = child(visit(MAY, {"therapy_arranged": True}), operations=(done,))
        assert findings_on(Question(record, protocol, NOVEMBER))["therapy_arranged", "affected"].why == "out_of_date"


class TestNotObtained:
    """A finding that was asked for and not obtained stays unknown and says why."""

    @pytest.mark.parametrize("why", ["never_measured", "not_measurable", "declined"])
    def test_the_kind_of_not_knowing_is_kept_with_its_note(self, why, protocol) -> None:
        missing = Missing(finding=ANGLE, side="left", why=why, note="would not lie still")
        fact = findings_on(Question(child(visit(MAY, missing=(missing,))), protocol, NOVEMBER))[KEY]
        assert fact == Unknown(why, because="would not lie still")

    def test_it_hides_an_earlier_value(self, protocol) -> None:
        missing = Missing(finding=ANGLE, side="left", why="declined")
        record = child(visit(MAY, {ANGLE: 12.0}), visit(NOVEMBER, missing=(missing,)))
        assert findings_on(Question(record, protocol, NOVEMBER))[KEY] == Unknown("declined")

    def test_a_later_value_ends_it(self, protocol) -> None:
        missing = Missing(finding=ANGLE, side="left", why="declined")
        record = child(visit(MAY, missing=(missing,)), visit(NOVEMBER, {ANGLE: 12.0}))
        assert findings_on(Question(record, protocol, NOVEMBER))[KEY].value == 12.0

    def test_it_counts_for_its_own_leg_only(self, protocol) -> None:
        missing = Missing(finding=ANGLE, side="right", why="declined")
        record = child(visit(MAY, {ANGLE: 12.0}, missing=(missing,)))
        found = findings_on(Question(record, protocol, NOVEMBER))
        assert found[KEY].value == 12.0
        assert found[ANGLE, "other"].why == "declined"


class TestSides:
    """Findings stand under the affected and the other leg, whichever side that is."""

    @pytest.mark.parametrize("side", ["left", "right"])
    def test_affected_and_other_follow_the_child(self, side, protocol) -> None:
        record = child(visit(MAY, {ANGLE: 12.0, f"other.{ANGLE}": 31.0}, side=side), side=side)
        found = findings_on(Question(record, protocol, NOVEMBER))
        assert (found[ANGLE, "affected"].value, found[ANGLE, "other"].value) == (12.0, 31.0)

    def test_a_finding_of_the_whole_child_stands_under_the_affected_leg_alone(self, protocol) -> None:
        found = findings_on(Question(child(visit(MAY, {"active_infection": False})), protocol, MAY))
        assert found["active_infection", "affected"].value is False
        assert ("active_infection", "other") not in found


class TestError:
    """The error of a length is that of the method; of anything else that of the finding."""

    # 4.5 mm at 95 % divided by 1.96: Braun S et al. 2023 (rules/methods.toml, braun_2023); the others as rules say.
    @pytest.mark.parametrize(("method", "sd"), [("standing_full_length_film", 2.3), ("tape", 8.0), ("ct_scout", 1.5)])
    def test_lengths_take_the_error_of_the_method(self, method, sd, protocol) -> None:
        item = Measurement(finding="femur_length_mm", side="left", value=120.0, method=method)
        record = child(visit(MAY).model_copy(update={"measurements": (item,)}))
        assert findings_on(Question(record, protocol, MAY))["femur_length_mm", "affected"].sd == sd

    def test_a_method_without_an_error_of_its_own_leaves_that_of_the_finding(self, protocol) -> None:
        rule = protocol.finding("femur_length_mm")
        assert protocol.method("examination").length_sd_mm is None
        assert measurement_sd(rule, "examination", protocol) == rule.sd

    def test_an_unknown_method_leaves_that_of_the_finding(self, protocol) -> None:
        rule = protocol.finding("femur_length_mm")
        assert measurement_sd(rule, "by eye", protocol) == rule.sd

    def test_angles_keep_their_own_error_whatever_the_method(self, protocol) -> None:
        assert measurement_sd(protocol.finding(ANGLE), "standing_full_length_film", protocol) == 4.0
