"""One life of an invented child, whoever plans it: what truly grows, what goes wrong, and what all of it costs.

The truth is one draw of the growth posterior on the first day. What goes wrong in a lengthening is drawn from the
pooled risks at the amount, the percent of the true bone and the age of the step. All chance of a life is drawn from
its number alone, by the lengthening and the visit that it belongs to, so that two ways of treating the same life
meet the same luck.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
from scipy.stats import poisson

from pathway.courses.course import PLATES, limits_at
from pathway.courses.policy.harms import COUNTED, LASTING
from pathway.courses.policy.risks import JOINTS, SOUND, hip_cover, lengthening_of, risks_of
from pathway.days import age_years, day_at_age, in_months
from pathway.growth import BONES, PHYSES, Posterior, Step, outlook
from pathway.growth.reference_curves import Floats
from pathway.protocol.model import Bone, Device, Protocol
from pathway.protocol.question import Question
from pathway.protocol.roles import growth_arrest, lengthenings
from pathway.record import Decision, Operation, Record
from pathway.risk.step_risks import step_risks
from pathway.risk.steps import Step as RiskStep
from pathway.timing.calendar import calendar_of, free_day
from pathway.timing.rule_links import device_days
from tests.courses.childhood import BORN
from tests.growth.futures import film, future, lengths_at
from tests.sample import HEALTHY

MOST_LENGTHENINGS = 12
QUARTER = 0.25
SAME_SITTING_YEARS = 0.1
REMOVAL_WAITS_YEARS = 0.5
"""A device's removal may wait so long for the visit at which an arrest is due, and then both are one sitting."""
FILM_SLACK, FILM_SLACK_MM = 0.05, 5.0
"""By this part of an amount and so many mm it may pass a limit of the true bone: a film cannot be more wrong."""
GROWTH_SLACK_MM = 10.0
"""A film tells what is left to grow no better than this."""
DAYS_LATE = 0.05
"""Years that free days and rounded months may take off an interval."""


class Arrested(NamedTuple):
    """A growth arrest as done: age, plates, whether in the sitting of a lengthening, and whether within a device."""

    age_years: float
    physes: tuple[str, ...]
    shared: bool
    within_device: bool


class Lengthened(NamedTuple):
    """A lengthening as done: age at the start and at the device's removal, bone, amount planned and length gained."""

    age_years: float
    off_years: float
    bone: Bone
    planned_mm: float
    gained_mm: float


@dataclass(frozen=True)
class Luck:
    """The chance of one life: `uniform` (lengthenings, 5) and `normal` (lengthenings,), the arrest's, the film's seed.

    Uniforms are those of the joints, of falling short and by how much, of stopping and of lasting harm; `unplanned`
    (lengthenings,) that of the operations not planned; `outcomes` (lengthenings, COUNTED) those of each outcome.
    """

    seed: tuple[int, ...]
    draw: float
    uniform: Floats
    normal: Floats
    unplanned: Floats
    arrest: float
    outcomes: Floats

    @classmethod
    def of(cls, *seed: int) -> Luck:
        rng = np.random.default_rng(seed)
        return cls(
            seed,
            float(rng.random()),
            rng.random((MOST_LENGTHENINGS, 5)),
            rng.standard_normal(MOST_LENGTHENINGS),
            rng.random(MOST_LENGTHENINGS),
            float(rng.random()),
            rng.random((MOST_LENGTHENINGS, len(COUNTED))),
        )

    def film(self, visit: int) -> np.random.Generator:
        """Return the errors of the film of a visit."""
        return np.random.default_rng((*self.seed, visit))


@dataclass
class Life:
    """A life being lived. `charged` are costs of operations, `practice` their part for leaving published practice.

    `outcomes` are the lengthenings with each outcome that is counted. The burden and the end are charged when it has
    ended, by `cost`.
    """

    protocol: Protocol
    question: Question
    truth: Posterior
    luck: Luck
    record: Record
    steps: list[Step] = field(default_factory=list)
    lengthened: list[Lengthened] = field(default_factory=list)
    arrested: list[Arrested] = field(default_factory=list)
    charged: float = 0.0
    practice: float = 0.0
    planned: float = 0.0
    unplanned: float = 0.0
    harm: float = 0.0
    device_months: float = 0.0
    joint: int = SOUND
    stopped: bool = False
    breaches: list[str] = field(default_factory=list)
    outcomes: dict[str, int] = field(default_factory=lambda: dict.fromkeys(COUNTED, 0))

    @classmethod
    def begin(cls, protocol: Protocol, question: Question, posterior: Posterior, luck: Luck) -> Life:
        """Return the life on its first day; the truth is a draw of the posterior."""
        truth = future(posterior, int(luck.draw * posterior.draws))
        return cls(protocol, question, truth, luck, question.record)

    @property
    def gained_mm(self) -> float:
        """Return what was gained as the record says, mm."""
        return float(sum(operation.achieved_mm or 0.0 for operation in self.record.operations))

    def bone_mm(self, bone: Bone, age: float) -> float:
        """Return the true length of a bone of the short leg before what is done at that age, mm."""
        return lengths_at(self.truth, self.steps, age)["short", bone]

    def see(self, visit: int, age: float) -> datetime.date:
        """Add a film at an age to the record; return its day. Of the visit before only the lengths are kept."""
        day = day_at_age(BORN, age)
        seen = film(
            self.truth,
            self.steps,
            day,
            age_years(BORN, day),
            self.record,
            self.protocol,
            self.luck.film(visit),
            HEALTHY,
        )
        before = self.record.visits[-1]
        lengths = tuple(m for m in before.measurements if m.finding.endswith("_length_mm"))
        kept = before.model_copy(update={"measurements": lengths})
        self.record = self.record.model_copy(update={"visits": (*self.record.visits[:-1], kept, seen)})
        return day

    def lengthen(self, bone: Bone, age: float, amount_mm: float, device: Device | None = None) -> None:
        """Lengthen a bone at an age by an amount with a device (the usual one), with all that may go wrong."""
        kind = lengthenings(bone, self.protocol)[0].id
        day = free_day(day_at_age(BORN, age), calendar_of(self.record, self.protocol))
        age, at = age_years(BORN, day), len(self.lengthened)
        true_mm = self.bone_mm(bone, age)
        self._check(kind, bone, age, amount_mm, true_mm)
        percent = 100 * amount_mm / true_mm
        joints, short, less, stop, harm = self.luck.uniform[at]
        number, question = self.protocol.number, self.question
        cover = hip_cover(question)
        one = np.array([amount_mm])
        used = device or self.protocol.usual_device(bone)
        risks = risks_of(question, bone, np.array([[[percent]]]), one, np.array([age]), cover, device=used)
        was = self.joint
        unplanned = float(poisson.ppf(self.luck.unplanned[at], risks.unplanned[0, 0, 0, was]))
        harmed = float(harm < risks.harm[0, 0, 0, was])
        self._count(lengthening_of(question, bone, amount_mm, percent, age, cover, used), int(harmed), at)
        self.joint = int(np.searchsorted(np.cumsum(risks.joints[0, 0, 0, was]), joints, side="right"))
        self.stopped = self.stopped or bool(stop < risks.stopping)
        achieved = amount_mm
        if short < float(risks.short[0, 0, 0]):
            lost = self.protocol.value("risk_shortfall_percent")
            low, high = (lost.value if end is None else end for end in (lost.low, lost.high))
            achieved *= 1 - (low + (high - low) * less) / 100
        gained = max(achieved + number("lengthening_gain_error_sd_mm") * float(self.luck.normal[at]), 1.0)
        days = device_days(self.protocol, bone, amount_mm, used.id)
        off = day + datetime.timedelta(days=days)
        self.steps.append(Step("short", bone, age, adds_mm=gained))
        self._add(
            Operation(
                kind=kind,
                date=day,
                side=self.record.affected_side,
                achieved_mm=achieved,
                device=used.id,
                device_removed=off,
            )
        )
        self.lengthened.append(Lengthened(age, age_years(BORN, off), bone, amount_mm, gained))
        months = in_months(days)
        self.planned += 2
        self.unplanned += unplanned
        self.harm += harmed
        self.device_months += months
        practice = practice_cost(self.protocol, amount_mm, percent)
        self.practice += practice
        self.charged += (
            practice
            + number("weigh_lengthening")
            + number(used.month_weight) * months
            + number("weigh_unplanned_operation") * unplanned
            + number("weigh_lasting_harm") * harmed
        )
        if self.stopped:
            self.record = self.record.model_copy(update={"decisions": (*self.record.decisions, _no_more(day))})

    def _count(self, step: RiskStep, harmed: int, at: int) -> None:
        """Draw each outcome that is counted of a lengthening; the hip covered poorly once a joint has slipped."""
        slipped = "slipped" in JOINTS[self.joint]
        risks = step_risks(self.protocol, replace(step, hip_cover="poor") if slipped else step)
        for name, drawn in zip(COUNTED, self.luck.outcomes[at], strict=True):
            chance = None if name == LASTING else float(risks.chance(name))
            self.outcomes[name] += harmed if chance is None else int(drawn < chance)

    def arrest(self, physes: tuple[str, ...], age: float) -> None:
        """Arrest growth plates of the long leg at an age; in one sitting with a start or a removal near it."""
        stage = growth_arrest(self.protocol)
        assert stage is not None and not self.arrested
        day = free_day(day_at_age(BORN, age), calendar_of(self.record, self.protocol))
        age = age_years(BORN, day)
        starts = any(abs(age - one.age_years) <= SAME_SITTING_YEARS for one in self.lengthened)
        removed = any(
            -SAME_SITTING_YEARS <= age - one.off_years <= REMOVAL_WAITS_YEARS + DAYS_LATE for one in self.lengthened
        )
        shared = starts or removed
        within = not shared and any(one.age_years < age < one.off_years for one in self.lengthened)
        before = self._long_mm()
        self.steps += [Step("long", PHYSES[plate], age, stops=(plate,)) for plate in physes]
        height = before - self._long_mm()
        self._add(Operation(kind=stage.id, date=day, side=self.record.other_side, physes=physes))
        again = float(self.luck.arrest < self.protocol.number("arrest_redone_chance"))
        self.arrested.append(Arrested(age, physes, shared, within))
        self.planned += 0 if shared else 1
        self.unplanned += again
        lead = self.protocol.diagnosis(self.record.child.diagnosis).bones[0]
        uneven = physes != (PLATES[lead],) and len(physes) == 1
        number = self.protocol.number
        self.charged += (
            number("weigh_growth_arrest_shared" if shared else "weigh_growth_arrest")
            + number("weigh_height_lost") * (height / number("weigh_height_lost_scale_mm")) ** 2
            + number("weigh_uneven_knees") * uneven
            + number("weigh_unplanned_operation") * again
        )

    def left_mm(self) -> float:
        """Return the true difference when growth has ended, mm."""
        return float(outlook(self.truth, self.steps).at_maturity()[0])

    def cost(self, start_years: float, end_years: float) -> tuple[float, float]:
        """Return the whole cost of the life between two ages, and its months with a difference too large."""
        ages = np.arange(start_years + QUARTER / 2, end_years, QUARTER)
        seen = outlook(self.truth, self.steps, ages)
        percent = 100 * np.abs(seen.lengths("discrepancy")[0]) / seen.lengths("long_leg")[0]
        number = self.protocol.number
        over = np.maximum(percent - number("weigh_burden_from_percent"), 0) ** number("weigh_burden_power")
        burden = number("weigh_burden_a_year") * QUARTER * float(over.sum())
        miss = max(abs(self.left_mm()) - number("weigh_final_miss_free_mm"), 0) / number("weigh_final_miss_scale_mm")
        months = 12 * QUARTER * float(np.sum(percent > number("told_over_percent")))
        return self.charged + burden + number("weigh_final_miss") * miss**2, months

    def _long_mm(self) -> float:
        return float(outlook(self.truth, self.steps).at_maturity("long_leg")[0])

    def _add(self, operation: Operation) -> None:
        self.record = self.record.model_copy(update={"operations": (*self.record.operations, operation)})

    def _check(self, kind: str, bone: Bone, age: float, amount_mm: float, true_mm: float) -> None:
        """Note every hard limit that a lengthening breaks: its amount, the time since others, a device still on."""
        slack = FILM_SLACK * amount_mm + FILM_SLACK_MM
        for limit in limits_at(self.protocol, kind, age, true_mm):
            if amount_mm > limit.limit_mm + slack and not limit.rule.warns:
                self.breaches.append(limit.rule.id)
        if age < self.free_from(bone) - DAYS_LATE:
            self.breaches.append(f"{kind} at {age:.2f}")

    def free_from(self, bone: Bone) -> float:
        """Return the age from which the intervals of the rules let a bone be lengthened again, years.

        An interval of growing bones does not bind one that truly hardly grows by then.
        """
        kinds = {of: lengthenings(of, self.protocol)[0].id for of in BONES}
        ages = [0.0]
        for one in self.lengthened:
            ages.append(one.off_years)
            for rule in self.protocol.intervals:
                pair = {rule.earlier_stage, rule.later_stage} == {kinds[one.bone], kinds[bone]}
                if pair and (rule.next or rule.either_order):
                    begins = one.off_years if rule.earlier.endswith(".end") else one.age_years
                    free = begins + (rule.at_least_months or 0) / 12
                    if rule.while_growth_left_mm is not None:
                        free = min(free, self._hardly_grows_from(bone, rule.while_growth_left_mm + GROWTH_SLACK_MM))
                    ages.append(free)
        return max(ages)

    def _hardly_grows_from(self, bone: Bone, left_mm: float) -> float:
        """Return the age from which a bone of the short leg has at most so much left to grow in truth, years."""
        ages = np.arange(4.0, 20.0, QUARTER)
        lengths = outlook(replace(self.truth, known_steps=()), (), ages).lengths(f"short_{bone}")[0]
        return float(ages[int(np.argmax(lengths[-1] - lengths <= left_mm))])


def practice_cost(protocol: Protocol, amount_mm: float, percent: float) -> float:
    """Return what a lengthening costs for its distance from published practice."""
    number = protocol.number
    percents = max(percent - number("practice_percent_from"), 0) / number("practice_percent_scale")
    long = max(amount_mm - number("practice_long_from_mm"), 0) / 10
    short = max(number("practice_short_from_mm") - amount_mm, 0) / 10
    return float(
        number("practice_percent_weight") * percents**2
        + number("practice_long_weight") * long**2
        + number("practice_short_weight") * short**2
    )


def _no_more(day: datetime.date) -> Decision:
    return Decision(
        date=day, by="family", kind="at_most_lengthenings", number=0, reason="the family stops after this lengthening"
    )
