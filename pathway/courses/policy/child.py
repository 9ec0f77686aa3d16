"""One child as a programme: visits, forecast, lengthenings and arrests with what each costs and what may go wrong.

The child's course problem (windows, limits, waiting times) and its growth posterior are put into the tables that the
policy is worked out from. Two short bones are put as one: their mean as its length, with the shorter waits between
lengthenings of different bones.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pathway.courses.arrest_options import arrest_from_years
from pathway.courses.course import PLATES
from pathway.courses.policy import programme as pg
from pathway.courses.policy.device_cost import device_month_weight
from pathway.courses.policy.risks import JOINTS, Risks, hip_cover, risks_of
from pathway.courses.policy.school import school_years_touched
from pathway.courses.problem import CourseProblem
from pathway.days import in_months
from pathway.growth import arrest_takes, outlook
from pathway.growth.future_visits import learning
from pathway.growth.reference_curves import Floats
from pathway.protocol.model import Bone
from pathway.protocol.question import Question
from pathway.protocol.roles import growth_arrest
from pathway.risk.step_risks import Level
from pathway.risk.steps import HipCover
from pathway.timing.rule_links import device_days

_CLASSES = 3
# The grid reaches so many SDs and steps to each side, so much farther where an arrest or lost growth may lead.
_SDS, _EDGE_STEPS, _ARREST_BEYOND, _LOSS_STEPS = 3.5, 2, 1.3, 6
_GROWN_UP_AFTER_YEARS = 5.0
_LONG_LEG_GROWN = 0.95
"""Part of the growth from today on at which early and late maturing children are told apart."""


@dataclass(frozen=True, slots=True, eq=False)
class ChildProgramme:
    """A child's programme, and what its numbers stand for.

    `bone` is lengthened (or the mean of both), `percent` (T, X, G) of it; `plates` are those of each arrest.
    """

    programme: pg.Programme
    bone: Bone
    cover: HipCover
    plates: tuple[tuple[str, ...], ...]
    percent: Floats
    risks: Risks
    two_bones: bool

    @property
    def bones(self):
        return (self.bone,) * self.programme.most


def programme_of(
    problem: CourseProblem,
    question: Question,
    *,
    level: Level = "centre",
    slope: float | None = None,
    most: int | None = None,
    arrest: bool = True,
) -> ChildProgramme | None:
    """Return the programme of one child; None where nothing may be lengthened.

    `level` is that of the risks: a typical team, or the `low` or `high` end for a new one. `slope` is how much events
    grow with the percent of the bone (log for ten points more), the pooled table's own where None.
    """
    stages = problem.first.stages or problem.second.stages
    if not stages:
        return None
    return _Builder(problem, question, level, slope).build()


class _Builder:
    def __init__(self, problem: CourseProblem, question: Question, level: Level, slope: float | None) -> None:
        self.problem, self.question, self.level, self.slope = problem, question, level, slope
        self.number, self.posterior = problem.number, problem.growth.posterior
        self.columns = self._visits()
        self.ages = problem.grid.age_years[self.columns]
        self.steps = len(self.ages) - 1
        self.lead = problem.first if problem.first.stages else problem.second
        other = problem.second if self.lead is problem.first else problem.first
        least = problem.number("least_lengthening_mm")
        self.two = bool(other.stages) and problem.growth.own_share_mm(other.bone) >= least
        self.other = other
        self.step_mm = problem.grid.step_mm

    def _visits(self) -> np.ndarray:
        """Return the columns of the grid at which something is decided: half-years until the end of growth and on."""
        grid = self.problem.grid
        every = max(round(self.number("next_visit_months") / grid.months), 1)
        mature = self.posterior.mature_age_years
        last = int(
            np.searchsorted(grid.age_years, max(mature, grid.age_years[0]) + self.number("policy_after_growth_years"))
        )
        return np.arange(0, min(max(last, every), len(grid.age_years) - 1) + 1, every)

    def build(self) -> ChildProgramme:
        of_class, chance = self._classes()
        draws = outlook(self.posterior, (), np.append(self.ages, self.ages[-1] + _GROWN_UP_AFTER_YEARS))
        natural = draws.lengths("discrepancy")
        mean = float(natural[:, -1].mean())
        deviation = float(natural[:, -1].std())
        forecast = self._forecast(mean, deviation)
        tempo = self._tempo(of_class, chance, natural, draws.lengths("long_leg"))
        amounts = self._amounts()
        gains = int(np.ceil((max(mean, amounts[-1]) + _SDS * deviation) / self.step_mm)) + 1
        bone = self._bone_mm()
        gained = self.step_mm * np.arange(gains)
        percent = 100 * amounts[None, :, None] / (bone[: self.steps, None, None] + gained / (2 if self.two else 1))
        cover = hip_cover(self.question)
        risks = risks_of(
            self.question,
            self.lead.bone,
            np.asarray(percent, np.float64),
            np.asarray(amounts, np.float64),
            np.asarray(self.ages[: self.steps], np.float64),
            cover,
            level=self.level,
            slope=self.slope,
        )
        plates, arrest = self._arrest(of_class, self._device_visits(float(np.median(amounts))))
        made = pg.Programme(
            age_years=self.ages,
            grid_mm=self.step_mm,
            tempo=tempo,
            forecast=forecast,
            lengthening=self._lengthening(amounts, percent, risks, gains),
            arrest=arrest,
            costs=self._costs(),
            start=pg.Start(arrested=self._arrested(), stopped=False, joint=0, done=0, waited=self._waits() - 1),
        )
        return ChildProgramme(made, self.lead.bone, cover, plates, percent, risks, self.two)

    def _classes(self) -> tuple[list[np.ndarray], Floats]:
        """Return the draws of early, middle and late maturing children, and the chance of each."""
        now, ages = float(self.ages[0]), np.arange(float(self.ages[0]), 21.0, 0.25)
        long = outlook(self.posterior, (), ages).lengths("long_leg")
        left = long[:, -1:] - long[:, :1]
        if self.posterior.draws < 2 * _CLASSES or float(left.mean()) < 1.0 or now >= self.posterior.mature_age_years:
            return [np.arange(self.posterior.draws)], np.ones(1)
        there = (long - long[:, :1]) / np.maximum(left, 1e-6) >= _LONG_LEG_GROWN
        order = np.argsort(ages[np.argmax(there, axis=1)] + 1e-6 * left[:, 0], kind="stable")
        parts = np.array_split(order, _CLASSES)
        return list(parts), np.array([len(part) for part in parts]) / len(order)

    def _forecast(self, mean: float, deviation: float) -> pg.Forecast:
        shares = learning(self.posterior, self.problem.protocol, self.ages).open_share
        left = deviation**2 * np.minimum.accumulate(shares)
        sideways = int(np.ceil((_SDS * deviation) / self.step_mm)) + _EDGE_STEPS
        down = sideways + int(np.ceil(self.number("arrest_most_mm") * _ARREST_BEYOND / self.step_mm))
        up = sideways + _LOSS_STEPS
        return pg.Forecast(mean, down, up, -np.diff(left), float(left[-1]))

    def _tempo(self, parts: list[np.ndarray], chance: Floats, natural: Floats, long: Floats) -> pg.Tempo:
        reached, legs = [], []
        for part in parts:
            mature = natural[part, -1].mean()
            reached.append(
                np.clip(natural[part][:, :-1].mean(axis=0) / mature, 0.05, 1.2)
                if mature > 1
                else np.ones(len(self.ages))
            )
            legs.append(long[part][:, :-1].mean(axis=0))
        told = self.number("skeletal_offset_from_age_years")
        known = min(int(np.searchsorted(self.ages, told)), self.steps)
        flat = np.zeros((len(parts), len(self.ages)))
        return pg.Tempo(chance, known, np.array(reached), flat, np.array(legs))

    def _bone_mm(self) -> Floats:
        """Return the length of the bone to be lengthened at each visit, the mean of both where both are short."""
        both = [self.lead.bone, self.other.bone] if self.two else [self.lead.bone]
        lengths = [self.problem.growth.short_mm(bone)[self.columns] for bone in both]
        result: Floats = np.mean(lengths, axis=0)
        return result

    def _amounts(self) -> Floats:
        least = max(self.lead.chain.least * self.step_mm, self.number("policy_least_mm"))
        most = float(self.lead.chain.most.max()) * self.step_mm
        return np.arange(least, max(most, least) + 1e-6, self.step_mm)

    def _device_visits(self, mm: float) -> int:
        days = device_days(self.problem.protocol, self.lead.bone, mm)
        return int(np.ceil(in_months(days) / self.number("next_visit_months")))

    def _waits(self) -> int:
        return self._waited(self.lead.chain.wait_other if self.two else self.lead.chain.wait) + 1

    def _waited(self, wait: np.ndarray) -> int:
        middle = int(wait[len(wait) // 2])
        months = middle * self.problem.grid.months
        return max(
            int(np.ceil(months / self.number("next_visit_months"))),
            self._device_visits(self.number("practice_long_from_mm")) + 1,
            2,
        )

    def _when(self) -> np.ndarray:
        """Return by visit, number done and visits since the last whether windows and waiting times allow another."""
        chain, waits = self.lead.chain, self._waits()
        numbers = chain.numbers + (self.other.chain.numbers if self.two else 0)
        usable = chain.most[:, self.columns[: self.steps]] >= chain.least
        when = np.zeros((self.steps, numbers, waits), bool)
        for number in range(numbers):
            of = number // 2 if self.two else number
            when[:, number, waits - 1] = usable[min(of, chain.numbers - 1)]
        return when

    def _lengthening(self, amounts: Floats, percent: Floats, risks: Risks, gains: int) -> pg.Lengthening:
        number, chain = self.number, self.lead.chain
        limit = chain.limit[self.columns[: self.steps]]
        wide = np.minimum(np.arange(gains), limit.shape[1] - 1)
        units = np.round(amounts / self.step_mm).astype(int)
        allowed = units[None, :, None] <= limit[:, None, wide]
        may = np.repeat(allowed[..., None], len(JOINTS), axis=3)
        months = np.array([in_months(device_days(self.problem.protocol, self.lead.bone, float(mm))) for mm in amounts])
        device = np.broadcast_to(months[None, :, None], percent.shape)
        practice = (
            number("practice_percent_weight")
            * (np.maximum(percent - number("practice_percent_from"), 0) / number("practice_percent_scale")) ** 2
        )
        long = np.maximum(amounts - number("practice_long_from_mm"), 0) / 10
        short = np.maximum(number("practice_short_from_mm") - amounts, 0) / 10
        by_mm = number("practice_long_weight") * long**2 + number("practice_short_weight") * short**2
        ages = self.ages[: self.steps, None, None]
        month = device_month_weight(self.lead.bone, ages, number)
        cost = number("weigh_lengthening") + month * device + practice + by_mm[None, :, None]
        at_school = number("school_from_years"), number("school_to_years")
        cost += number("weigh_school_year") * school_years_touched(ages, device, *at_school)
        whole = (
            cost[..., None]
            + number("weigh_unplanned_operation") * risks.unplanned
            + number("weigh_lasting_harm") * risks.harm
        )
        # A gain is off by one step of the grid either way, with the variance of the rules.
        beside = min((number("lengthening_gain_error_sd_mm") / self.step_mm) ** 2 / 2, 0.5)
        less = np.round((amounts - risks.short_mm[0, :, 0]) / self.step_mm).astype(int)
        steps = np.stack((units, units - 1, units + 1, np.maximum(less, 0)), axis=1)
        goal = 1 - risks.short
        chances = np.stack((goal * (1 - 2 * beside), goal * beside, goal * beside, risks.short), axis=2)
        shape = (self.steps, len(amounts))
        loss_chance, loss_mm = self._loss(shape)
        return pg.Lengthening(
            amounts_mm=amounts,
            allowed=may,
            when=self._when(),
            cost=whole,
            gain_steps=np.broadcast_to(steps[None], (self.steps, *steps.shape)),
            gain_chance=chances,
            loss_chance=loss_chance,
            loss_mm=loss_mm,
            joints=risks.joints,
            stop_chance=np.full(percent.shape, risks.stopping),
            planned=np.full(shape, 2.0),
            unplanned=risks.unplanned,
            harm=risks.harm,
            device_months=np.array(device),
        )

    def _loss(self, shape: tuple[int, int]) -> tuple[Floats, Floats]:
        """Return chance and size of slower growth of the bone afterwards, which the forecast rises by."""
        draws = self.posterior.bones[self.lead.bone].loss.astype(float)
        slowed = draws > self.number("slowed_from_share")
        chance = float(slowed.mean())
        part = float(draws[slowed].mean()) if slowed.any() else 0.0
        grown = self.problem.growth.short_mm(self.lead.bone)
        left = np.maximum(grown[-1] - grown[self.columns[: self.steps]], 0.0)
        return np.full(shape, chance), np.repeat((part * left)[:, None], shape[1], axis=1)

    def _arrested(self) -> bool:
        return any(step.leg == "long" and step.stops for step in self.posterior.known_steps)

    def _arrest(self, parts: list[np.ndarray], device: int) -> tuple[tuple[tuple[str, ...], ...], pg.Arrest]:
        number, stage = self.number, growth_arrest(self.problem.protocol)
        own = PLATES[self.problem.first.bone]
        rest = tuple(plate for plate in PLATES.values() if plate != own)
        plates = ((own,), *((plate,) for plate in rest), (own, *rest))
        takes = {plate: arrest_takes(self.posterior, plate, self.ages[: self.steps]) for plate in PLATES.values()}
        effect = np.array(
            [[sum(takes[plate][part].mean(axis=0) for plate in some) for some in plates] for part in parts]
        )
        offered = stage is not None and any(
            item.state in ("optional", "possible", "planned") for item in self.problem.graph.of_kind(stage.id)
        )
        declined = stage is not None and (
            stage.id in self.problem.wishes.declined or "no_growth_arrest" in self.problem.wishes.prefer
        )
        first = float(self.ages[0])
        sex = self.question.record.child.sex
        earliest = arrest_from_years(stage.id, self.problem.protocol, sex, first) if stage else np.inf
        central = self.problem.growth.effects
        planned = np.array([np.interp(self.ages[: self.steps], central.age_years, central.of(some)) for some in plates])
        allowed = (planned >= number("arrest_least_mm")) & (planned <= number("arrest_most_mm"))
        allowed &= (self.ages[: self.steps] >= earliest - 1e-6)[None, :] & (offered and not declined)
        height = number("weigh_height_lost") * (effect / number("weigh_height_lost_scale_mm")) ** 2
        uneven = np.array([number("weigh_uneven_knees") if some in [(p,) for p in rest] else 0.0 for some in plates])
        cost = number("weigh_growth_arrest") + height + uneven[None, :, None]
        shared = cost - number("weigh_growth_arrest") + number("weigh_growth_arrest_shared")
        sitting = np.full(self._waits(), pg.OWN)
        # Visit 0 since a start is its own sitting: until the device is off, and three months on, none.
        sitting[: min(device, len(sitting) - 1)] = pg.BARRED
        if device < len(sitting) - 1:
            sitting[device] = pg.REMOVAL
        keeps = self.posterior.bones["femur"].efficacy
        return plates, pg.Arrest(
            effect_mm=effect,
            sd_share=float(keeps.std() / max(float(keeps.mean()), 0.1)),
            allowed=allowed,
            allowed_at_start=allowed.copy(),
            sitting=sitting,
            cost=cost,
            cost_at_start=shared,
            cost_at_removal=shared,
            repeat_chance=number("arrest_redone_chance"),
            repeat_cost=number("weigh_unplanned_operation"),
            planned=1.0,
            planned_at_start=0.0,
            planned_at_removal=0.0,
            after_stop=True,
        )

    def _costs(self) -> pg.Costs:
        number = self.number
        return pg.Costs(
            burden=number("weigh_burden_a_year"),
            burden_from_percent=number("weigh_burden_from_percent"),
            burden_power=number("weigh_burden_power"),
            miss=number("weigh_final_miss"),
            miss_flat_mm=number("weigh_final_miss_free_mm"),
            miss_scale_mm=number("weigh_final_miss_scale_mm"),
            over_percent=number("told_over_percent"),
            within_mm=(number("goal_band_mm"), number("goal_accepted_mm")),
            near_years=number("same_choice_years"),
            near_mm=number("same_choice_mm"),
        )
