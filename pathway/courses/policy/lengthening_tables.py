"""The tables of each lengthening of a child: what is allowed, what it costs, gains and loses, and what may go wrong.

Each bone has its own length, limits, windows, waits, device time and risks. Only the total gain is known to the
programme: a bone is taken to have got the share of it that its turn says (see `Turn`), which is exact for one bone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pathway.courses.policy import programme as pg
from pathway.courses.policy.bone_order import Turn, left_mm
from pathway.courses.policy.device_cost import device_month_weight
from pathway.courses.policy.risks import JOINTS, Exact, Risks, risks_of
from pathway.courses.policy.school import school_years_touched
from pathway.courses.problem import CourseProblem
from pathway.days import in_months
from pathway.growth.reference_curves import Floats
from pathway.protocol.model import Bone
from pathway.protocol.question import Question
from pathway.risk.step_risks import Level
from pathway.risk.steps import HipCover
from pathway.timing.rule_links import age_windows, device_days

OPERATIONS = 2.0
"""The device on, and off again."""


@dataclass(frozen=True, slots=True, eq=False)
class Stand:
    """What all lengthenings of a child stand on: visits (columns of the problem's grid), gains, level of risk.

    `columns` are those of the T visits, `gains` and `grid_mm` the steps of gain; `slope` as in `risks_of`.
    """

    problem: CourseProblem
    question: Question
    cover: HipCover
    columns: np.ndarray
    gains: int
    grid_mm: float
    level: Level
    slope: float | None


@dataclass(frozen=True, slots=True, eq=False)
class TurnTables:
    """One set of tables: `percent` (T, X, G) of the bone, its risks, the lengthening."""

    percent: Floats
    risks: Risks
    lengthening: pg.Lengthening


def device_months(problem: CourseProblem, bone: Bone, mm: float) -> float:
    """Return how long a device stays for an amount, months."""
    return in_months(device_days(problem.protocol, bone, mm))


def required_months(problem: CourseProblem, turns: tuple[Turn, ...]) -> list[float]:
    """Return the months (N,) from each lengthening to the next, those before it kept to; 0 for the first.

    For an average lengthening of published practice. The wait from the last one of the same bone is kept where the
    lengthenings between follow as soon as they may; where they follow later it is more than kept.
    """
    at = round(problem.number("practice_long_from_mm") / problem.grid.step_mm)
    required: list[float] = []
    for number, turn in enumerate(turns):
        same = next((n for n in range(number - 1, -1, -1) if turns[n].bone == turn.bone), None)
        months = [0.0]
        if number and turns[number - 1].bone != turn.bone:
            months.append(_at(problem.of(turns[number - 1].bone).chain.wait_other, at) * problem.grid.months)
        if same is not None:
            whole = _at(problem.of(turn.bone).chain.wait, at) * problem.grid.months
            months.append(whole - sum(required[same + 1 : number]))
        required.append(max(months))
    return required


def amounts_of(problem: CourseProblem, turns: tuple[Turn, ...]) -> Floats:
    """Return the amounts (X,) from the smallest proposed to the largest that any limit leaves; none without a turn."""
    step = problem.grid.step_mm
    chains = [problem.of(turn.bone).chain for turn in turns]
    if not chains:
        return np.zeros(0)
    least = max(min(chain.least for chain in chains) * step, problem.number("policy_least_mm"))
    most = max(min(float(chain.most.max()), float(chain.limit.max())) for chain in chains) * step
    return np.arange(least, max(most, least) + 1e-6, step)


def usable_of(problem: CourseProblem, turns: tuple[Turn, ...], columns: np.ndarray) -> np.ndarray:
    """Return by visit and turn (T, N) whether windows and wishes leave any amount."""
    usable = np.zeros((len(columns), len(turns)), bool)
    free = problem.free_soon()[columns]
    for number, turn in enumerate(turns):
        chain = problem.of(turn.bone).chain
        usable[:, number] = (chain.most[min(turn.own, chain.numbers - 1), columns] >= chain.least) & free
    return usable


def tables_of(stand: Stand, turns: tuple[Turn, ...], amounts: Floats) -> tuple[list[TurnTables], list[int]]:
    """Return the sets of tables and which each turn uses; one without amounts where there is no turn."""
    never = np.zeros(len(stand.columns))
    bare = {turn.bone for turn in turns} or {stand.problem.first.bone}
    if not turns:
        idle = np.zeros((len(stand.columns), stand.gains))
        return [_tables(stand, Turn(bone, 0, 1.0), amounts, never, never, idle) for bone in bare], []
    made: list[TurnTables] = []
    found: dict[tuple[Bone, float, bytes], int] = {}
    of = []
    for turn in turns:
        chain = stand.problem.of(turn.bone).chain
        most = chain.most[min(turn.own, chain.numbers - 1), stand.columns].astype(float)
        # Where its window is closed `when` says so; a limit of its own only makes a set of tables more.
        most[most < chain.least] = float(chain.most.max())
        early, late = _years_before_usual(stand, turn), _years_after_usual(stand, turn)
        key = turn.bone, turn.share, most.tobytes() + early.tobytes() + late.tobytes()
        if key not in found:
            found[key] = len(made)
            made.append(_tables(stand, turn, amounts, most, early, late))
        of.append(found[key])
    return made, of


def _years_before_usual(stand: Stand, turn: Turn) -> Floats:
    """Return by visit (T,) how long before the usual ages of print that lengthening would come, years."""
    protocol, item = stand.problem.protocol, stand.problem.of(turn.bone).stages[turn.own]
    rules = age_windows(item, stand.question.record.child.sex, protocol, hard=False)
    usual = max((rule.at_least_months or 0 for rule in rules), default=0) / 12
    early: Floats = np.maximum(usual - stand.problem.grid.age_years[stand.columns], 0.0)
    return early


def _years_after_usual(stand: Stand, turn: Turn) -> Floats:
    """Return by visit and gain (T, G) how long after the usual ages that weigh it would come, years.

    Only what passes from today on counts, and only while the legs differ by more than the rules let pass, on average.
    """
    problem, item = stand.problem, stand.problem.of(turn.bone).stages[turn.own]
    late = np.zeros((len(stand.columns), stand.gains))
    ages = problem.grid.age_years[stand.columns]
    for rule in age_windows(item, stand.question.record.child.sex, problem.protocol, hard=False):
        if rule.weighs_late and rule.at_most_months is not None:
            years = np.maximum(ages - max(rule.at_most_months / 12, float(ages[0])), 0.0)
            long = problem.growth.outlook.lengths("long_leg")[0][stand.columns]
            left = problem.growth.difference_mm[stand.columns][:, None] - stand.grid_mm * np.arange(stand.gains)
            large = 100 * left / long[:, None] > problem.number("practice_late_from_percent")
            late = np.maximum(late, years[:, None] * large)
    return late


def _tables(stand: Stand, turn: Turn, amounts: Floats, most: Floats, early: Floats, late: Floats) -> TurnTables:
    problem = stand.problem
    own = turn.share * stand.grid_mm * np.arange(stand.gains)
    length = problem.growth.short_mm(turn.bone)[stand.columns]
    percent = np.asarray(100 * amounts[None, :, None] / (length[:, None, None] + own), np.float64)
    ages = np.asarray(problem.grid.age_years[stand.columns], np.float64)
    exact: Exact = np.asarray(amounts, np.float64)
    risks = risks_of(stand.question, turn.bone, percent, exact, ages, stand.cover, level=stand.level, slope=stand.slope)
    allowed = _allowed(stand, turn, amounts, most, own)
    months = np.array([device_months(problem, turn.bone, float(mm)) for mm in amounts])
    shape = percent.shape[:2]
    loss_chance, loss_mm = _loss(stand, turn.bone, shape)
    steps, chances = _gains(stand, amounts, risks)
    return TurnTables(
        percent,
        risks,
        pg.Lengthening(
            amounts_mm=amounts,
            allowed=np.repeat(allowed[..., None], len(JOINTS), axis=3),
            cost=_cost(stand, turn.bone, amounts, percent, months, risks)
            + (problem.number("practice_early_weight") * early)[:, None, None, None]
            + (problem.number("practice_late_weight") * late)[:, None, :, None],
            gain_steps=steps,
            gain_chance=chances,
            loss_chance=loss_chance,
            loss_mm=loss_mm,
            joints=risks.joints,
            stop_chance=np.full(percent.shape, risks.stopping),
            planned=np.full(shape, OPERATIONS),
            unplanned=risks.unplanned,
            harm=risks.harm,
            device_months=np.broadcast_to(months[None, :, None], percent.shape).copy(),
        ),
    )


def _allowed(stand: Stand, turn: Turn, amounts: Floats, most: Floats, own: Floats) -> pg.Bools:
    """Return which amounts (T, X, G) the limits by age and length, wishes, and the second bone's own share leave."""
    problem, chain = stand.problem, stand.problem.of(turn.bone).chain
    if not len(amounts):
        return np.zeros((len(stand.columns), 0, stand.gains), bool)
    step = problem.grid.step_mm
    units = np.round(amounts / step).astype(int)
    limit = chain.limit[stand.columns]
    wide = np.minimum(np.floor(own / step + 1e-9).astype(int), limit.shape[1] - 1)
    allowed: pg.Bools = units[None, :, None] <= np.minimum(limit[:, wide], most[:, None])[:, None, :]
    if turn.bone == problem.second.bone:
        allowed &= (amounts[:, None] <= left_mm(problem) - own + 1e-6)[None]
    return allowed


def _cost(stand: Stand, bone: Bone, amounts: Floats, percent: Floats, months: Floats, risks: Risks) -> Floats:
    """Return what each costs (T, X, G, S): operations, device, school, distance from published practice, troubles."""
    number = stand.problem.number
    over = np.maximum(percent - number("practice_percent_from"), 0) / number("practice_percent_scale")
    long = np.maximum(amounts - number("practice_long_from_mm"), 0) / 10
    short = np.maximum(number("practice_short_from_mm") - amounts, 0) / 10
    by_mm = number("practice_long_weight") * long**2 + number("practice_short_weight") * short**2
    steep = np.maximum(percent - number("practice_percent_most"), 0)
    ages = np.asarray(stand.problem.grid.age_years[stand.columns], float)[:, None]
    touched = school_years_touched(ages, months, number("school_from_years"), number("school_to_years"))
    by_age = device_month_weight(bone, ages, number) * months + number("weigh_school_year") * touched
    planned = (by_age + by_mm + number("weigh_lengthening"))[..., None]
    planned = planned + number("practice_percent_weight") * over**2
    planned = planned + number("practice_percent_most_weight") * steep
    troubles = number("weigh_unplanned_operation") * risks.unplanned + number("weigh_lasting_harm") * risks.harm
    cost: Floats = planned[..., None] + troubles
    return cost


def _gains(stand: Stand, amounts: Floats, risks: Risks) -> tuple[pg.Ints, Floats]:
    """Return steps (T, X, 4) and chances (T, X, 4, G): the goal, a step beside it either way, short of it."""
    grid, number = stand.grid_mm, stand.problem.number
    units = np.round(amounts / grid).astype(int)
    # A gain is off by the planning step either way, with the variance of the rules.
    error = stand.problem.grid.step_mm
    side = round(error / grid)
    beside = min((number("lengthening_gain_error_sd_mm") / error) ** 2 / 2, 0.5)
    less = np.maximum(np.round((amounts - risks.short_mm[0, :, 0]) / grid).astype(int), 0)
    steps = np.stack((units, units - side, units + side, less), axis=1)
    goal = 1 - risks.short
    chances = np.stack((goal * (1 - 2 * beside), goal * beside, goal * beside, risks.short), axis=2)
    return np.broadcast_to(steps, (len(stand.columns), *steps.shape)).copy(), chances


def _loss(stand: Stand, bone: Bone, shape: tuple[int, ...]) -> tuple[Floats, Floats]:
    """Return chance and size of slower growth of the bone afterwards, which the forecast rises by."""
    problem = stand.problem
    draws = problem.growth.posterior.bones[bone].loss.astype(float)
    slowed = draws > problem.number("slowed_from_share")
    part = float(draws[slowed].mean()) if slowed.any() else 0.0
    grown = problem.growth.short_mm(bone)
    left = np.maximum(grown[-1] - grown[stand.columns], 0.0)
    return np.full(shape, float(slowed.mean())), np.repeat((part * left)[:, None], shape[1], axis=1)


def _at(waits: pg.Ints, units: int) -> int:
    """Return the wait after so many units, or after the largest amount where that is less."""
    return int(waits[min(units, len(waits) - 1)])
