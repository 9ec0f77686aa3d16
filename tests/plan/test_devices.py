"""With which device an invented child is lengthened, why, when the next step may come, and how the device comes out."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from itertools import pairwise

import pytest

from pathway.casefile import case_text, read_case
from pathway.days import add_months
from pathway.plan.model import Plan, PlanStage
from pathway.plan.verify import check_plan
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.overlay import Entry, Overlay, laid_over
from pathway.protocol.question import Question
from pathway.questions.why import why
from pathway.record import Operation, Record, Sex, Value
from pathway.views.words.plan import plan_text
from tests.family import family_text
from tests.made_once import made_once
from tests.sample import HEALTHY, child, decision, operation, visit

ON = datetime.date(2026, 11, 25)
SEEN = datetime.date(2026, 11, 11)
FIRST, SECOND = "femoral_lengthening_1", "femoral_lengthening_2"
NAIL, FRAME = "femoral_internal_nail", "femoral_frame_then_rod"
GROWN_GIRL: Mapping[str, Value] = {
    "affected.femur_length_mm": 355.0,
    "affected.tibia_length_mm": 345.0,
    "other.femur_length_mm": 450.0,
    "other.tibia_length_mm": 351.0,
}
"""A girl of 15, grown, with 10.1 cm to go."""
GIRL_OF_EIGHT: Mapping[str, Value] = {
    "affected.femur_length_mm": 255.0,
    "affected.tibia_length_mm": 250.0,
    "other.femur_length_mm": 318.0,
    "other.tibia_length_mm": 255.0,
}
GROWN_BOY: Mapping[str, Value] = {
    "affected.femur_length_mm": 360.0,
    "affected.tibia_length_mm": 385.0,
    "other.femur_length_mm": 490.0,
    "other.tibia_length_mm": 390.0,
}


def of(
    legs: Mapping[str, Value],
    years: float,
    sex: Sex = "girl",
    found: Mapping[str, Value] | None = None,
    operations: tuple[Operation, ...] = (),
    skeletal_age: float | None = None,
) -> Record:
    seen = visit(SEEN, {**HEALTHY, **legs, **(found or {})}, skeletal_age=skeletal_age or years)
    born = SEEN - datetime.timedelta(days=round(years * 365.25))
    return child(seen, born=born, sex=sex, diagnosis="congenital_short_femur", operations=operations)


def planned(record: Record, protocol: Protocol) -> Plan:
    plan = made_once(Question(record, protocol, ON), compared=False)
    assert check_plan(plan, record, protocol) == ()
    return plan


def device(stage: PlanStage) -> str:
    assert stage.device is not None
    return stage.device.id


@pytest.fixture(scope="module")
def plan(protocol: Protocol) -> Plan:
    return planned(of(GROWN_GIRL, 15.2), protocol)


class TestAGrownGirl:
    def test_two_nails_about_a_year_apart(self, plan: Plan) -> None:
        one, other = plan.stage(FIRST), plan.stage(SECOND)
        assert device(one) == device(other) == NAIL
        assert one.date is not None
        assert other.date is not None
        assert add_months(one.date, 12) <= other.date < add_months(one.date, 18)

    def test_no_frame_comes_off_and_each_nail_is_taken_out_twelve_to_twenty_four_months_after_it_went_in(
        self, plan: Plan
    ) -> None:
        kinds = [stage.kind for stage in plan.stages]
        assert "femoral_device_removal" not in kinds
        for number in (1, 2):
            went_in, out = plan.stage(f"femoral_lengthening_{number}"), plan.stage(f"femoral_nail_removal_{number}")
            assert went_in.date is not None
            assert out.date is not None
            assert add_months(went_in.date, 12) <= out.date <= add_months(went_in.date, 24)
            assert "No frame and no rod" in out.family_words

    def test_the_first_nail_is_exchanged_in_the_sitting_of_the_second(self, plan: Plan) -> None:
        assert plan.stage("femoral_nail_removal_1").date == plan.stage(SECOND).date
        assert plan.recommended is not None
        assert plan.recommended.burden.operations == 3

    def test_nothing_asks_for_growth(self, plan: Plan) -> None:
        kinds = {stage.kind for stage in plan.stages}
        assert not kinds & {"contralateral_growth_arrest", "growth_film_visit", "skeletal_age_visit"}
        assert plan.growth.next_visit == ""
        assert "skeletal_age_years" not in {question.finding for question in plan.open_questions}

    def test_what_the_nail_waits_for_is_asked(self, plan: Plan) -> None:
        told = plan.stage(FIRST).device
        assert told is not None
        assert told.state == "unknown"
        assert set(told.asks) == {"femoral_canal_mm", "earlier_bone_infection"}
        assert set(told.asks) <= {question.finding for question in plan.open_questions}
        assert any("the clinic enters them" in text for text in told.checks)

    def test_the_words_say_a_nail_and_no_frame(self, plan: Plan) -> None:
        lengthened = plan.stage(FIRST)
        assert "by a nail inside the bone; no frame" in lengthened.family_words
        said = " ".join(family_text(plan).split())
        assert "There is no frame." in said
        assert "frame on the bone" not in said
        shown = " ".join(plan_text(plan, 100).split())
        assert "internal lengthening nail (femur), if what is missing for it allows it" in shown

    def test_why_tells_the_device_and_the_others(self, plan: Plan) -> None:
        lines = [line.text for line in why(plan, plan.stage(FIRST))]
        assert "With which device: internal lengthening nail (femur)" in lines
        assert any(line.startswith("frame, then a rod: it costs more") for line in lines)
        assert any(line.startswith("lengthening nail outside the canal: ask only") for line in lines)


def test_a_grown_boy_of_17_and_a_half_is_not_rushed_to_twenty(protocol: Protocol) -> None:
    plan = planned(of(GROWN_BOY, 17.5, "boy", skeletal_age=17.3), protocol)
    one, other = plan.stage(FIRST), plan.stage(SECOND)
    assert one.date is not None
    assert other.date is not None
    assert add_months(one.date, 12) <= other.date <= add_months(one.date, 18)
    assert other.age_years is not None
    assert other.age_years < 19
    assert not {stage.kind for stage in plan.stages} & {"contralateral_growth_arrest", "growth_film_visit"}


def test_the_plan_of_a_late_maturing_boy_goes_on_for_two_years_after_growth(protocol: Protocol) -> None:
    record = of(GROWN_BOY, 17.5, "boy", skeletal_age=13.0)
    plan = planned(record, protocol)
    assert plan.growth.mature_age_years > 18.0
    window = plan.stage(FIRST).window
    assert window is not None
    last = [stage for stage in plan.stages if stage.kind == "femoral_lengthening"][-1]
    assert last.window is not None
    assert last.window.latest is not None
    twenty = add_months(record.child.date_of_birth, 240)
    assert last.window.latest > twenty


def test_a_girl_of_eight_gets_a_frame_and_is_told_from_when_a_nail_is_used(protocol: Protocol) -> None:
    plan = planned(of(GIRL_OF_EIGHT, 8.2), protocol)
    told = plan.stage(FIRST).device
    assert told is not None
    assert told.id == FRAME
    assert plan.stage("femoral_device_removal_1").date == plan.stage(FIRST).end_date
    assert "femoral_nail_removal" not in {stage.kind for stage in plan.stages}
    assert "from 10 years (the youngest published was 7)" in told.why
    assert not {"femoral_canal_mm", "weight_kg"} & {question.finding for question in plan.open_questions}


@pytest.mark.parametrize(
    ("found", "said"),
    [
        ({"lateral_femoral_condyle": "hypoplastic"}, "lateral femoral condyle hypoplastic"),
        ({"femoral_canal_mm": 9.0}, "width of the femoral canal 9 mm"),
        ({"earlier_bone_infection": True}, "earlier infection of the bone"),
    ],
)
def test_what_rules_a_nail_out_is_said(found: Mapping[str, Value], said: str, protocol: Protocol) -> None:
    plan = made_once(Question(of(GROWN_GIRL, 15.2, found=found), protocol, ON), compared=False)
    told = plan.stage(FIRST).device
    assert told is not None
    assert told.id == FRAME
    assert said in told.why
    (nail,) = [other for other in told.others if other.id == NAIL]
    assert not nail.possible


def test_what_a_planned_operation_corrects_leaves_the_nail_open_for_after_it(protocol: Protocol) -> None:
    bent = {"cruciate_ligaments": "absent", "knee_flexion_contracture_deg": 15.0}
    plan = planned(of(GROWN_GIRL, 15.2, found=bent), protocol)
    straightened, lengthened = plan.stage("knee_preparation_1").date, plan.stage(FIRST)
    assert straightened is not None
    assert lengthened.date is not None
    assert straightened < lengthened.date
    assert device(lengthened) == NAIL


def test_a_canal_too_narrow_today_is_measured_again_for_a_lengthening_years_away(protocol: Protocol) -> None:
    plan = planned(of(GIRL_OF_EIGHT, 8.2, found={"femoral_canal_mm": 7.0, "earlier_bone_infection": False}), protocol)
    told = plan.stage(FIRST).device
    assert told is not None
    (nail,) = [other for other in told.others if other.id == NAIL]
    assert "7 mm" in nail.why


def test_a_joint_that_slipped_before_is_spanned_and_a_nail_spans_none(protocol: Protocol) -> None:
    day = datetime.date(2020, 5, 4)
    before = operation(
        "femoral_lengthening",
        day,
        achieved_mm=40.0,
        device_removed=add_months(day, 6),
        complications=("knee_subluxation",),
    )
    record = of(GROWN_GIRL, 15.2, found={"regenerate": "remodelled"}, operations=(before,))
    told = planned(record, protocol).stage(SECOND).device
    assert told is not None
    assert told.id == FRAME
    assert "the knee must be spanned" in told.why


class TestANailAlreadyInside:
    DAY = datetime.date(2026, 2, 3)

    def record(self, **details: object) -> Record:
        put_in = operation("femoral_lengthening", self.DAY, achieved_mm=50.0, device=NAIL, **details)
        return of(GROWN_GIRL, 15.2, operations=(put_in,))

    def test_under_way_it_comes_out_in_a_stage_of_its_own(self, protocol: Protocol) -> None:
        plan = planned(self.record(), protocol)
        assert device(plan.stage(FIRST)) == NAIL
        assert "femoral_device_removal_1" not in {stage.id for stage in plan.stages}
        out = plan.stage("femoral_nail_removal_1")
        assert out.date is not None
        assert out.date >= add_months(self.DAY, 12)

    def test_solid_it_is_still_to_come_out(self, protocol: Protocol) -> None:
        plan = planned(self.record(device_removed=datetime.date(2026, 9, 1)), protocol)
        assert plan.stage(FIRST).status == "done"
        assert plan.stage("femoral_nail_removal_1").status not in ("done", "under_way")
        assert plan.stage("hip_surveillance_1").status == "under_way"

    def test_long_overdue_it_is_still_planned(self, protocol: Protocol) -> None:
        day = datetime.date(2023, 2, 6)
        put_in = operation("femoral_lengthening", day, achieved_mm=50.0, device=NAIL, device_removed=add_months(day, 7))
        plan = planned(of(GROWN_GIRL, 15.2, operations=(put_in,), found={"regenerate": "remodelled"}), protocol)
        out = plan.stage("femoral_nail_removal_1")
        assert out.date is not None
        assert out.date >= ON

    def test_taken_out_it_is_done_with_the_number_of_its_lengthening(self, protocol: Protocol) -> None:
        put_in = operation(
            "femoral_lengthening",
            datetime.date(2024, 2, 5),
            achieved_mm=50.0,
            device=NAIL,
            device_removed=datetime.date(2024, 9, 2),
        )
        out = operation("femoral_nail_removal", datetime.date(2025, 5, 5))
        record = of(GROWN_GIRL, 15.2, operations=(put_in, out), found={"regenerate": "remodelled"})
        plan = planned(record, protocol)
        assert plan.stage("femoral_nail_removal_1").status == "done"
        assert plan.stage("femoral_nail_removal_1").date == datetime.date(2025, 5, 5)

    def test_a_case_file_holds_the_device_and_reads_without_it(self, protocol: Protocol) -> None:
        record = self.record()
        text = case_text(record)
        assert f'device = "{NAIL}"' in text
        again = read_case(text, "case.toml", protocol)
        assert isinstance(again, Record)
        assert again.operations == record.operations
        before = read_case(text.replace(f'device = "{NAIL}"\n', ""), "case.toml", protocol)
        assert isinstance(before, Record)
        assert before.operations[0].device is None
        assert device(planned(before, protocol).stage(FIRST)) == FRAME

    @pytest.mark.parametrize("named", ["tibial_internal_nail", "a_nail"])
    def test_a_device_of_another_bone_or_of_nobody_is_refused(self, named: str, protocol: Protocol) -> None:
        text = case_text(self.record()).replace(NAIL, named)
        refused = read_case(text, "case.toml", protocol)
        assert not isinstance(refused, Record)
        assert any("device" in problem.sentence for problem in refused)


class TestAClinicsOwnLimits:
    def with_limits(self, **fields: object) -> Protocol:
        given = {**fields, "because": "Of the make used here.", "sources": ["own_judgement"], "provenance": "judgement"}
        theirs = laid_over(load_protocol(), Overlay("", "", (Entry("devices", NAIL, given, "own.toml"),)))
        assert isinstance(theirs, Protocol), theirs
        return theirs

    def test_a_weight_limit_is_asked_for_and_binds(self) -> None:
        theirs = self.with_limits(most_weight_kg=50, licensed_from_years=12)
        light = planned(of(GROWN_GIRL, 15.2), theirs)
        told = light.stage(FIRST).device
        assert told is not None
        assert told.id == NAIL
        assert "weight_kg" in told.asks
        assert not any("the clinic enters" in text for text in told.checks)
        heavy = planned(of(GROWN_GIRL, 15.2, found={"weight_kg": 62.0}), theirs)
        assert device(heavy.stage(FIRST)) == FRAME

    def test_a_licence_for_adults_leaves_the_frame(self) -> None:
        plan = planned(of(GROWN_GIRL, 15.2), self.with_limits(licensed_from_years=18))
        first = plan.stage(FIRST)
        assert first.age_years is not None
        assert (device(first) == NAIL) == (first.age_years >= 18)

    def test_a_clinic_that_uses_no_nails_switches_them_off(self) -> None:
        off = Entry("devices", NAIL, {"off": True, "because": "Not done here."}, "own.toml")
        theirs = laid_over(load_protocol(), Overlay("", "", (off,)))
        assert isinstance(theirs, Protocol), theirs
        assert device(planned(of(GROWN_GIRL, 15.2), theirs).stage(FIRST)) == FRAME
        # Programmes with a step of nails alone go with them, and no other keeps the name.
        assert {item.id for item in theirs.switched_off} >= {NAIL, "femoral.nail_when_grown"}
        left = {name for one in theirs.printed_programmes for step in one.steps for name in step.devices}
        assert NAIL not in left
        assert left

    def test_the_usual_device_cannot_be_switched_off(self) -> None:
        off = Entry("devices", FRAME, {"off": True, "because": "Not done here."}, "own.toml")
        faults = laid_over(load_protocol(), Overlay("", "", (off,)))
        assert not isinstance(faults, Protocol)
        assert any("usual device" in fault.sentence for fault in faults)


def test_a_course_that_no_policy_follows_has_the_device_that_costs_least_too(protocol: Protocol) -> None:
    record = of(GROWN_GIRL, 15.2)
    wish = decision("choose_course", date=SEEN, by="family", course="three_femoral")
    chosen = record.model_copy(update={"decisions": (wish,)})
    plan = planned(chosen, protocol)
    best = plan.recommended
    assert best is not None
    assert best.id == "three_femoral"
    assert best.usually is None
    lengthened = [stage for stage in plan.stages if stage.kind == "femoral_lengthening"]
    assert [device(stage) for stage in lengthened] == [NAIL] * 3
    days = [stage.date for stage in lengthened if stage.date is not None]
    assert all(add_months(one, 12) <= other < add_months(one, 36) for one, other in pairwise(days))


class TestTheJudge:
    """A good plan of a grown girl with one thing changed about a device: the judge names it."""

    def breaches(self, plan: Plan, protocol: Protocol, id: str = FIRST, **update: object) -> set[str]:
        stages = tuple(one.model_copy(update=update) if one.id == id else one for one in plan.stages)
        wrong = plan.model_copy(update={"stages": stages})
        return {breach.rule for breach in check_plan(wrong, of(GROWN_GIRL, 15.2), protocol)}

    def told(self, plan: Plan, **update: object) -> object:
        found = plan.stage(FIRST).device
        assert found is not None
        return found.model_copy(update=update)

    def test_a_lengthening_without_a_device(self, plan: Plan, protocol: Protocol) -> None:
        assert "device" in self.breaches(plan, protocol, device=None)

    @pytest.mark.parametrize("other", ["tibial_internal_nail", "femoral_frame_over_nail", "femoral_nail_outside_canal"])
    def test_a_device_that_no_plan_chooses_here(self, other: str, plan: Plan, protocol: Protocol) -> None:
        assert other in self.breaches(plan, protocol, device=self.told(plan, id=other))

    def test_a_nail_at_nine(self, plan: Plan, protocol: Protocol) -> None:
        assert NAIL in self.breaches(plan, protocol, age_years=9.0)

    def test_a_nail_for_nine_centimetres(self, plan: Plan, protocol: Protocol) -> None:
        assert NAIL in self.breaches(plan, protocol, amount_mm=90.0)

    def test_a_condition_that_reads_other_than_its_values(self, plan: Plan, protocol: Protocol) -> None:
        assert NAIL in self.breaches(plan, protocol, device=self.told(plan, state="holds"))
        assert NAIL in self.breaches(plan, protocol, device=self.told(plan, verdict=None))

    def test_no_stage_that_takes_the_nail_out(self, plan: Plan, protocol: Protocol) -> None:
        left = plan.model_copy(update={"stages": tuple(s for s in plan.stages if s.id != "femoral_nail_removal_2")})
        found = {breach.rule for breach in check_plan(left, of(GROWN_GIRL, 15.2), protocol)}
        assert "femoral_nail_removal.after_lengthening" in found

    def test_a_nail_out_after_half_a_year(self, plan: Plan, protocol: Protocol) -> None:
        first = plan.stage(FIRST).date
        assert first is not None
        found = self.breaches(plan, protocol, "femoral_nail_removal_1", date=add_months(first, 6))
        assert "femoral_nail.out_after_a_year" in found

    def test_a_second_lengthening_half_a_year_after_the_first(self, plan: Plan, protocol: Protocol) -> None:
        first = plan.stage(FIRST).date
        assert first is not None
        found = self.breaches(plan, protocol, SECOND, date=add_months(first, 6))
        assert "femoral_lengthening.a_year_apart" in found
        assert "femoral_lengthening.three_years_apart" not in found
