"""The judge catches a plan with one thing wrong, whatever it is, and names the rule that is broken."""

from __future__ import annotations

import datetime

from pathway.days import add_months
from pathway.plan.verify import check_plan
from pathway.protocol.load import load_protocol
from tests.offenders import for_each
from tests.plan.verify.wrong_plans import (
    Wrong,
    amount,
    before,
    course,
    gate,
    gate_dropped,
    good,
    moved,
    records,
    stage,
    with_stages,
    without,
    working,
)
from tests.sample import ON, at_age, decision

Day = datetime.date
FIRST, SECOND = "femoral_lengthening_1", "femoral_lengthening_2"
REMOVAL, FILMS = "femoral_device_removal_1", "hip_surveillance_1"
HIP, BONE, IMPLANTS = "hip_preparation_1", "proximal_femoral_osteotomy_1", "hardware_removal_1"
ARREST = "contralateral_growth_arrest"
COVERED = "femoral_lengthening.hip_covered"
INFECTION = "hip_preparation.no_infection"
IN_JOINT = "femoral_lengthening.knee_in_joint"


def no_reasons(plan):
    return stage(FIRST, because=())(plan)


def unsourced_reason(plan):
    reasons = tuple(item.model_copy(update={"sources": ("nobody_1900",)}) for item in plan.stage(FIRST).because)
    return stage(FIRST, because=reasons)(plan)


def reason_without_sources(plan):
    reasons = tuple(item.model_copy(update={"sources": ()}) for item in plan.stage(FIRST).because)
    return stage(FIRST, because=reasons)(plan)


def caution_dropped(start):
    def change(plan):
        kept = tuple(item for item in plan.cautions if not item.text.startswith(start))
        assert len(kept) == len(plan.cautions) - 1
        return plan.model_copy(update={"cautions": kept})

    return change


def no_notices(plan):
    return plan.model_copy(update={"notices": ()})


def counted(more):
    """The course says that it takes so many operations more."""

    def change(plan):
        burden = plan.recommended.burden
        return course({"burden": burden.model_copy(update={"operations": burden.operations + more})})(plan)

    return change


def other_version(plan):
    return plan.model_copy(update={"protocol": plan.protocol.model_copy(update={"version": "9.9.9"})})


def other_child(plan):
    return plan.model_copy(update={"child": plan.child.model_copy(update={"id": "somebody-else"})})


def two_recommended(plan):
    every = tuple(one.model_copy(update={"recommended": True}) for one in plan.alternatives)
    return plan.model_copy(update={"alternatives": every})


def stands_against(plan):
    """A contraindication among the reasons of a stage that has a date."""
    reasons = plan.stage(FIRST).because
    against = reasons[0].model_copy(update={"rule": "femoral_lengthening.stiff_knee"})
    return stage(FIRST, because=(*reasons, against))(plan)


def verdict_cut_short(plan):
    (whole,) = [one for one in plan.stage(FIRST).gates if one.id == IN_JOINT]
    return gate(FIRST, IN_JOINT, verdict={"parts": whole.verdict.parts[:1]})(plan)


def friday_to_saturday(plan):
    day = plan.stage(FIRST).date
    return moved(FIRST, lambda _: day + datetime.timedelta(days=5 - day.weekday()))(plan)


def to_friday(id):
    """Move a stage of the child who is operated on Tuesdays to the Friday after."""
    return moved(id, lambda plan: plan.stage(id).date + datetime.timedelta(days=3))


def seen(id, days):
    """Move the examination before a stage: so many days after (or before) the stage itself."""
    shift = days if isinstance(days, datetime.timedelta) else datetime.timedelta(days=days)

    def change(plan):
        return stage(f"examination_before_{id}", date=plan.stage(id).date + shift)(plan)

    return change


def stranger(plan):
    one = plan.stage(f"examination_before_{FIRST}")
    other = one.model_copy(update={"id": "examination_before_breakfast"})
    return with_stages(plan, [*plan.stages, other])


def renumbered(plan):
    """The second lengthening loses the films that follow it to the first."""
    return with_stages(
        plan,
        [s.model_copy(update={"number": 1}) if s.id == "hip_surveillance_2" else s for s in plan.stages],
    )


def third_lengthening(plan):
    more = plan.stage(SECOND).model_copy(update={"id": "femoral_lengthening_3", "number": 3})
    return with_stages(plan, [*plan.stages, more])


WRONG = (
    Wrong(
        "lengthened eleven months after the hip",
        "bent",
        moved(FIRST, before(HIP, 12)),
        "hip_preparation.before_lengthening",
    ),
    Wrong(
        "lengthened eleven months after the osteotomy",
        "bent",
        moved(FIRST, before(BONE, 12)),
        "osteotomy.before_lengthening",
    ),
    Wrong(
        "lengthened before the holes of the screws close",
        "bent",
        moved(FIRST, before(IMPLANTS, 3)),
        "hardware.out_before_lengthening",
    ),
    Wrong(
        "implants out before the bone is solid", "bent", moved(IMPLANTS, before(BONE, 12)), "osteotomy.implant_stays"
    ),
    Wrong(
        "lengthened before the hip is prepared",
        "bent",
        moved(FIRST, lambda plan: working(plan.stage(HIP).date - datetime.timedelta(days=3))),
        COVERED,
    ),
    Wrong(
        "osteotomy a month after the hip",
        "bent",
        moved(BONE, lambda plan: working(add_months(plan.stage(HIP).date, 1))),
        "hip.osteotomy_in_same_sitting",
    ),
    Wrong(
        "second lengthening two years after the first",
        "bent",
        moved(SECOND, before(FIRST, 24)),
        "femoral_lengthening.three_years_apart",
    ),
    Wrong(
        "second lengthening too soon after one done",
        "lengthened",
        moved(SECOND, before(FIRST, 36)),
        "femoral_lengthening.three_years_apart",
    ),
    Wrong(
        "device out a week late",
        "bent",
        moved(REMOVAL, lambda plan: working(plan.stage(FIRST).end_date + datetime.timedelta(days=7))),
        "femoral_device.out_at_end",
    ),
    Wrong(
        "films a month after the device is out",
        "bent",
        moved(FILMS, lambda plan: add_months(plan.stage(FIRST).end_date, 1)),
        "hip_surveillance.from_removal",
    ),
    Wrong(
        "both bones in one year",
        "both bones",
        moved("tibial_lengthening_1", lambda plan: working(add_months(plan.stage(FIRST).end_date, 6))),
        "lengthening.bones_apart",
    ),
    Wrong("a date before the window", "bent", stage(FIRST, date=ON), "window"),
    Wrong("a date and no window", "bent", stage(FIRST, window=None), "window"),
    Wrong("an end before the start", "bent", stage(FIRST, end_date=ON), "order"),
    Wrong("no end at all", "bent", stage(FIRST, end_date=None), "order"),
    Wrong("an age that is not that of the date", "bent", stage(FIRST, age_years=4.2), "age"),
    Wrong(
        "a first lengthening at two",
        "young",
        moved(FIRST, lambda plan: working(add_months(plan.on, 3))),
        "femoral_lengthening.not_before_three",
    ),
    Wrong(
        "a lengthening after the end of the plan",
        "bent",
        moved(SECOND, lambda _: working(at_age(20.1))),
        "femoral_lengthening.before_twenty",
    ),
    Wrong(
        "an operation in three weeks",
        "bent",
        moved(HIP, lambda plan: working(plan.on + datetime.timedelta(days=21))),
        "planning_lead_days",
    ),
    Wrong("an operation in the past", "bent", moved(HIP, lambda _: working(at_age(4))), "planning_lead_days"),
    Wrong("an operation on a Saturday", "bent", friday_to_saturday, "working days"),
    Wrong("an operation in blocked dates", "blocked", moved(ARREST, lambda _: working(at_age(11.2))), "block_dates"),
    Wrong(
        "a device in the days wished free",
        "wishes",
        moved(FIRST, lambda _: working(at_age(8.5))),
        "no_device",
    ),
    Wrong(
        "a device that comes off in the days wished free",
        "wishes",
        moved(FIRST, lambda _: working(at_age(6.9))),
        "no_device",
    ),
    Wrong(
        "still under treatment after the day wished", "wishes", stage(SECOND, end_date=at_age(17.1)), "finish_before"
    ),
    Wrong("a third lengthening where two were wished", "wishes", third_lengthening, "at_most_lengthenings"),
    Wrong("an operation on a day on which nobody operates", "on Tuesdays", to_friday(HIP), "working days"),
    Wrong("a removal on a day on which nobody operates", "on Tuesdays", to_friday(REMOVAL), "working days"),
    Wrong("an operation while the clinic is closed", "closed", moved(FIRST, lambda _: at_age(7.4)), "clinic closed"),
    Wrong("an examination after what it is for", "bent", seen(FIRST, 1), "examination"),
    Wrong("an examination a year before", "bent", seen(SECOND, -365), "examination"),
    Wrong("an examination in the past", "young", seen(FIRST, -2000), "examination"),
    Wrong("an examination before a stage that is not there", "bent", stranger, "examination"),
    Wrong("more slack than the window has", "bent", stage(SECOND, slack_days=5000), "slack"),
    Wrong("slack where nothing bounds the window", "bent", stage(REMOVAL, slack_days=40), "slack"),
    Wrong("more free slack than slack", "bent", stage(ARREST, free_slack_days=5000), "slack"),
    Wrong("free slack below nothing", "bent", stage(FIRST, free_slack_days=-1), "slack"),
    Wrong(
        "seven centimetres before eight, and no word of it",
        "bent",
        amount(FIRST, 70.0),
        "femoral_lengthening.young_60mm",
    ),
    Wrong("nine centimetres from eight on", "bent", amount(SECOND, 90.0), "femoral_lengthening.most_80mm"),
    Wrong(
        "more than 30 % of the bone, and no word of it", "young", amount(FIRST, 60.0), "femoral_lengthening.share_30"
    ),
    Wrong("a step beyond a warning in no sentence", "bent", no_notices, "femoral_lengthening.dislocation_45mm"),
    Wrong(
        "the good leg operated on within a frame",
        "bent",
        moved(ARREST, lambda plan: working(plan.stage(FIRST).date + datetime.timedelta(days=60))),
        "arrest_after_device_months",
    ),
    Wrong(
        "the good leg operated on a month after the frame",
        "bent",
        moved(ARREST, lambda plan: working(add_months(plan.stage(FIRST).end_date, 1))),
        "arrest_after_device_months",
    ),
    Wrong("one operation forgotten", "bent", counted(-1), "sittings"),
    Wrong("one sitting counted as two", "bent", counted(1), "sittings"),
    Wrong("52 millimetres", "bent", amount(FIRST, 52.0), "amount_step_mm"),
    Wrong("fifteen millimetres", "bent", amount(FIRST, 15.0), "least_lengthening_mm"),
    Wrong("a lengthening without an amount", "bent", stage(FIRST, amount_mm=None), "least_lengthening_mm"),
    Wrong("a device out in half the time", "bent", stage(FIRST, end_date=at_age(6.7)), "femur_days_per_cm"),
    Wrong("six centimetres by growth arrest", "bent", amount(ARREST, 60.0), "arrest_most_mm"),
    Wrong("no removal of the device", "bent", without(REMOVAL), "femoral_device_removal.after_lengthening"),
    Wrong("no films of the hip", "bent", without(FILMS), "hip_surveillance.after_lengthening"),
    Wrong("films of the wrong lengthening", "bent", renumbered, "hip_surveillance.after_lengthening"),
    Wrong("no examination before a later stage", "bent", without(f"examination_before_{FIRST}"), "examination"),
    Wrong("the healthy leg lengthened", "bent", stage(FIRST, side="right"), "side"),
    Wrong("the growth of the short leg stopped", "bent", stage(ARREST, side="left"), "side"),
    Wrong("a done operation left out", "lengthened", without(FIRST), "done"),
    Wrong("done on a day that is still to come", "lengthened", stage(FIRST, date=at_age(6)), "done"),
    Wrong("a residual that is better than the sum", "bent", course({"median_residual_mm": -20.0}), "balance"),
    Wrong("corrections that are not those of the course", "bent", course({"corrections_mm": 10.0}), "balance"),
    Wrong("a stage with another amount than its course", "bent", stage(SECOND, amount_mm=75.0), "balance"),
    Wrong("a course without its stages", "bent", course({"stages": ()}), "balance"),
    Wrong("two courses recommended", "bent", two_recommended, "recommended"),
    Wrong("a stage without a reason", "bent", no_reasons, "reason"),
    Wrong("a reason from a source nobody knows", "bent", unsourced_reason, "sources"),
    Wrong("a reason without a source", "bent", reason_without_sources, "sources"),
    Wrong("a gate without a source", "bent", gate(FIRST, COVERED, sources=()), "sources"),
    Wrong("a contraindication ignored", "bent", stands_against, "femoral_lengthening.stiff_knee"),
    Wrong("a gate dropped", "bent", gate_dropped(FIRST, COVERED), COVERED),
    Wrong("a gate of another stage", "bent", gate(FIRST, COVERED, id=INFECTION), COVERED),
    Wrong("a failing gate that reads as holding", "bent", gate(FIRST, COVERED, state="holds"), COVERED),
    Wrong(
        "a failing gate whose verdict was turned too",
        "bent",
        gate(FIRST, COVERED, state="holds", verdict={"state": "holds"}),
        COVERED,
    ),
    Wrong(
        "a value that the record does not hold",
        "bent",
        gate(FIRST, COVERED, state="holds", verdict={"state": "holds", "value": 28.0}),
        COVERED,
    ),
    Wrong("a verdict cut short", "bent", verdict_cut_short, IN_JOINT),
    Wrong(
        "a value on the threshold that reads as above it",
        "at the limit",
        gate(FIRST, COVERED, state="holds", mended_by=None, verdict={"state": "holds"}),
        COVERED,
    ),
    Wrong("waived by nobody", "bent", gate(FIRST, COVERED, state="waived", waived_because="trust me"), COVERED),
    Wrong("mended by a stage that comes later", "bent", gate(FIRST, COVERED, mended_by=SECOND), COVERED),
    Wrong("mended by a stage that is not there", "bent", gate(FIRST, COVERED, mended_by="prayer"), COVERED),
    Wrong("no day on which to look again", "bent", gate(SECOND, COVERED, look_again_on=None), COVERED),
    Wrong("ready in spite of an infection", "infected", stage(HIP, status="ready"), INFECTION),
    Wrong("an infection that is put off", "infected", gate(HIP, INFECTION, state="later"), INFECTION),
    Wrong("another protocol", "bent", other_version, "version"),
    Wrong("another child", "bent", other_child, "child"),
    Wrong("no word that it is a planning aid", "bent", caution_dropped("Planning aid"), "caution.planning_aid"),
    Wrong(
        "no word on the evidence for the hip", "bent", caution_dropped("Guidance for England"), "caution.hip_evidence"
    ),
    Wrong("no word on complications", "bent", caution_dropped("Complications"), "caution.lengthening_complications"),
    Wrong("no word on the side of the arrest", "bent", caution_dropped("Growth arrest is on"), "caution.wrong_side"),
)


@for_each(WRONG, parts=2)
def test_a_wrong_plan_is_caught_with_its_rule(wrong: Wrong) -> None:
    record, _ = records()[wrong.of]
    breaches = check_plan(wrong.change(good(wrong.of)), record, load_protocol())
    assert wrong.rule in {breach.rule for breach in breaches}, [breach.sentence for breach in breaches]


@for_each(sorted(records()))
def test_the_plans_they_were_made_from_are_good(name) -> None:
    record, _ = records()[name]
    assert check_plan(good(name), record, load_protocol()) == ()


def test_a_declined_stage_with_a_date() -> None:
    record, _ = records()["bent"]
    no = decision("decline", by="family", stage="hip_preparation")
    declining = record.model_copy(update={"decisions": (no,)})
    breaches = check_plan(good("bent"), declining, load_protocol())
    assert ("decline", HIP) in {(breach.rule, breach.stage) for breach in breaches}


def test_a_gate_that_can_never_be_waived_is_caught_even_when_somebody_did() -> None:
    record, _ = records()["infected"]
    waived = decision("waive_gate", gate=INFECTION)
    waiving = record.model_copy(update={"decisions": (waived,)})
    plan = gate(HIP, INFECTION, state="waived", waived_because="in a hurry")(good("infected"))
    assert INFECTION in {breach.rule for breach in check_plan(plan, waiving, load_protocol())}


def test_a_breach_says_in_words_what_is_wrong() -> None:
    record, _ = records()["bent"]
    plan = amount(SECOND, 90.0)(good("bent"))
    (breach,) = [b for b in check_plan(plan, record, load_protocol()) if b.rule.endswith("80mm")]
    assert breach.sentence == "femoral_lengthening_2 gains 90 mm, femoral_lengthening.most_80mm allows 80"
    assert breach.stage == SECOND
