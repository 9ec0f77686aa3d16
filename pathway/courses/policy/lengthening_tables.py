"""The tables of each lengthening of a child: what is allowed, what it costs, gains and loses, and what may go wrong.

Each bone has its own length, limits, windows, waits, device time and risks. Only the total gain is known to the
programme: a bone is taken to have got the share of it that its turn says (see `Turn`), which is exact for one bone.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pathway.courses.course import Lengthening
from pathway.courses.policy import programme as pg
from pathway.courses.policy.bone_order import Turn, left_mm, step_of
from pathway.courses.policy.device_tables import OneDevice, cheapest, kept_to, open_devices, rows_of, usable
from pathway.courses.policy.risks import JOINTS, SOUND, Exact, Risks, hip_cover, risks_of
from pathway.courses.policy.school import school_years_touched
from pathway.courses.problem import CourseProblem
from pathway.days import in_months
from pathway.growth.reference_curves import Floats
from pathway.protocol.model import Bone, Device, PrintedProgramme
from pathway.protocol.question import Question
from pathway.risk.step_risks import Level
from pathway.risk.steps import HipCover
from pathway.timing.rule_links import age_windows, device_days

_SAME = 1e-6
OPERATIONS = 2.0
"""The device on, and off again."""


@dataclass(frozen=True, slots=True, eq=False)
class Stand:
    """What all lengthenings of a child stand on: visits (columns of the problem's grid), gains, level of risk.

    `columns` are those of the T visits, `gains` and `grid_mm` the steps of gain; `slope` as in `risks_of`; `within` a
    programme of print whose limits are kept to.
    """

    problem: CourseProblem
    question: Question
    cover: HipCover
    columns: np.ndarray
    gains: int
    grid_mm: float
    level: Level
    slope: float | None
    within: PrintedProgramme | None = None


@dataclass(frozen=True, slots=True, eq=False)
class TurnTables:
    """One set of tables: `percent` (T, X, G) of the bone, its risks, the lengthening.

    `used` (T, X, G) says with which of `devices` it is done.
    """

    percent: Floats
    risks: Risks
    lengthening: pg.Lengthening
    devices: tuple[Device, ...]
    used: pg.Ints


MadeTables = dict[tuple[Bone, float, bytes, tuple[str, ...], int, Level, float | None], TurnTables]
"""Sets of tables by what they follow from, for one child and its visits: see `tables_of`."""


def device_months(problem: CourseProblem, bone: Bone, mm: float, device: Device | None = None) -> float:
    """Return how long a device stays for an amount, months; the usual one of the bone where none is named."""
    return in_months(device_days(problem.protocol, bone, mm, None if device is None else device.id))


def required_by_visit(problem: CourseProblem, turns: tuple[Turn, ...], ages: Floats) -> Floats:
    """Return the years (T, N) from each lengthening to the next one at each visit, fewer once its bone is grown."""
    growing, grown = (required_months(problem, turns, grown=grown) for grown in (False, True))
    years = np.zeros((len(ages), len(turns)))
    for number, turn in enumerate(turns):
        later = ages >= problem.of(turn.bone).grown_years
        years[:, number] = np.where(later, grown[number], growing[number]) / 12
    return years


def required_months(problem: CourseProblem, turns: tuple[Turn, ...], *, grown: bool = False) -> list[float]:
    """Return the months (N,) from each lengthening to the next, those before it kept to; 0 for the first.

    `grown`: for bones that hardly grow any more.

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
            own = problem.of(turn.bone)
            wait = own.wait_grown if grown and own.wait_grown is not None else own.chain.wait
            whole = _at(wait, at) * problem.grid.months
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


def usable_of(
    problem: CourseProblem, turns: tuple[Turn, ...], columns: np.ndarray, within: PrintedProgramme | None = None
) -> np.ndarray:
    """Return by visit and turn (T, N) whether windows, wishes and the ages of a programme of print leave any amount."""
    ages = problem.grid.age_years[columns]
    usable = np.zeros((len(columns), len(turns)), bool)
    free = problem.free_soon()[columns]
    for number, turn in enumerate(turns):
        chain = problem.of(turn.bone).chain
        usable[:, number] = (chain.most[min(turn.own, chain.numbers - 1), columns] >= chain.least) & free
        step = None if within is None else step_of(problem, turn, within)
        if step is not None:
            usable[:, number] &= ages >= step.from_age_years - _SAME
            usable[:, number] &= ages <= (np.inf if step.to_age_years is None else step.to_age_years) + _SAME
    return usable


def tables_of(
    stand: Stand, turns: tuple[Turn, ...], amounts: Floats, known: MadeTables
) -> tuple[list[TurnTables], list[int]]:
    """Return the sets of tables and which each turn uses; one without amounts where there is no turn.

    What is `known` from other limits of the same child and visits is taken from there, and what is made put there.
    """
    never = np.zeros(len(stand.columns))
    bare = {turn.bone for turn in turns} or {stand.problem.first.bone}
    if not turns:
        idle = np.zeros((len(stand.columns), stand.gains))
        return [_tables(stand, Turn(bone, 0, 1.0), amounts, never, never, idle) for bone in bare], []
    made: list[TurnTables] = []
    whole: list[TurnTables] = []
    found: dict[tuple[int, float, float], int] = {}
    of = []
    for turn in turns:
        chain = stand.problem.of(turn.bone).chain
        most = chain.most[min(turn.own, chain.numbers - 1), stand.columns].astype(float)
        # Where its window is closed `when` says so; a limit of its own only makes a set of tables more.
        most[most < chain.least] = float(chain.most.max())
        early, late = _years_before_usual(stand, turn), _years_after_usual(stand, turn)
        step = None if stand.within is None else step_of(stand.problem, turn, stand.within)
        devices = () if step is None else step.devices
        limits = b"".join(table.tobytes() for table in (amounts, most, early, late))
        own = turn.bone, turn.share, limits, devices, stand.gains, stand.level, stand.slope
        if own not in known:
            known[own] = _tables(stand, turn, amounts, most, early, late, devices)
        if not any(one is known[own] for one in whole):
            whole.append(known[own])
        least_mm, most_mm = (0.0, np.inf) if step is None else (step.least_mm, step.most_mm or np.inf)
        key = next(at for at, one in enumerate(whole) if one is known[own]), least_mm, most_mm
        if key not in found:
            found[key] = len(made)
            made.append(_between(known[own], amounts, least_mm, most_mm))
        of.append(found[key])
    return made, of


def _between(tables: TurnTables, amounts: Floats, least_mm: float, most_mm: float) -> TurnTables:
    """Return the same tables with only the amounts between two, both included, allowed."""
    inside = (amounts >= least_mm - _SAME) & (amounts <= most_mm + _SAME)
    if inside.all():
        return tables
    allowed = tables.lengthening.allowed & inside[None, :, None, None]
    return replace(tables, lengthening=replace(tables.lengthening, allowed=allowed))


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


def _tables(
    stand: Stand,
    turn: Turn,
    amounts: Floats,
    most: Floats,
    early: Floats,
    late: Floats,
    devices: tuple[str, ...] = (),
) -> TurnTables:
    problem = stand.problem
    own = turn.share * stand.grid_mm * np.arange(stand.gains)
    length = problem.growth.short_mm(turn.bone)[stand.columns]
    percent = np.asarray(100 * amounts[None, :, None] / (length[:, None, None] + own), np.float64)
    ages = np.asarray(problem.grid.age_years[stand.columns], np.float64)
    exact: Exact = np.asarray(amounts, np.float64)
    made = [_one_device(stand, turn.bone, device, percent, exact, ages) for device in open_devices(problem, turn.bone)]
    usual, *others = kept_to(made, devices)
    chosen = cheapest(usual, [one for one in others if one.usable.any()])
    risks = chosen.risks
    open_ = np.isfinite(chosen.cost[..., SOUND])
    allowed = _allowed(stand, turn, amounts, most, own) & open_
    shape = percent.shape[:2]
    loss_chance, loss_mm = _loss(stand, turn.bone, shape)
    steps, chances = _gains(stand, amounts, risks)
    return TurnTables(
        percent,
        risks,
        pg.Lengthening(
            amounts_mm=amounts,
            allowed=np.repeat(allowed[..., None], len(JOINTS), axis=3),
            cost=np.where(open_[..., None], chosen.cost, 0.0)
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
            device_months=chosen.months,
        ),
        chosen.devices,
        chosen.used,
    )


def cheapest_device(problem: CourseProblem, question: Question, chosen: Lengthening) -> Device:
    """Return with which device one chosen lengthening costs least, as the tables have it: for a course of no policy."""
    stand = Stand(problem, question, hip_cover(question), np.zeros(1, int), 1, 1.0, "centre", None)
    percent = np.full((1, 1, 1), 100 * chosen.amount_mm / chosen.bone_mm)
    ages, amounts = np.array([chosen.age_years]), np.array([chosen.amount_mm])
    made = [
        _one_device(stand, chosen.bone, device, percent, amounts, ages) for device in open_devices(problem, chosen.bone)
    ]
    found = cheapest(made[0], [one for one in made[1:] if one.usable.any()])
    return found.devices[int(found.used[0, 0, 0])]


def _one_device(stand: Stand, bone: Bone, device: Device, percent: Floats, amounts: Exact, ages: Exact) -> OneDevice:
    """Return the tables of one device at the visits at which it may be used: the usual one at all of them."""
    problem = stand.problem
    may = usable(problem, device, ages, amounts)
    rows = slice(0, len(ages)) if device.choice == "usual" else rows_of(may)
    shares, at = np.asarray(percent[rows], np.float64), ages[rows]
    risks = risks_of(
        stand.question, bone, shares, amounts, at, stand.cover, level=stand.level, slope=stand.slope, device=device
    )
    months = np.array([device_months(problem, bone, float(mm), device) for mm in amounts])
    cost = _cost(stand, device, amounts, shares, at, months, risks)
    return OneDevice(device, rows, may[rows], months, risks, cost)


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


def _cost(
    stand: Stand, device: Device, amounts: Floats, percent: Floats, at: Floats, months: Floats, risks: Risks
) -> Floats:
    """Return what each costs (T, X, G, S): operations, device, school, distance from published practice, troubles."""
    number = stand.problem.number
    over = np.maximum(percent - number("practice_percent_from"), 0) / number("practice_percent_scale")
    long = np.maximum(amounts - number("practice_long_from_mm"), 0) / 10
    short = np.maximum(number("practice_short_from_mm") - amounts, 0) / 10
    by_mm = number("practice_long_weight") * long**2 + number("practice_short_weight") * short**2
    steep = np.maximum(percent - number("practice_percent_most"), 0)
    touched = school_years_touched(at[:, None], months, number("school_from_years"), number("school_to_years"))
    by_age = number(device.month_weight) * months + number(device.school_weight) * touched
    planned = (by_age + by_mm + _of_this_child(stand, device.bone, amounts) + number("weigh_lengthening"))[..., None]
    planned = planned + number("practice_percent_weight") * over**2
    planned = planned + number("practice_percent_most_weight") * steep
    troubles = number("weigh_unplanned_operation") * risks.unplanned + number("weigh_lasting_harm") * risks.harm
    cost: Floats = planned[..., None] + troubles
    return cost


def _of_this_child(stand: Stand, bone: Bone, amounts: Floats) -> Floats:
    """Return what amounts (X,) cost for what is known of this child alone, whatever the average child gets.

    Beyond a warning that holds for it alone; and each centimetre while a finding that may stay blocks the step.
    """
    problem, number = stand.problem, stand.problem.number
    stages = problem.of(bone).stages
    limits = [
        rule.most_mm
        for rule in problem.protocol.amount_limits
        if rule.when is not None and rule.warns and rule.stage in {item.kind for item in stages}
        if rule.id not in problem.graph.limits_off and rule.most_mm is not None
    ]
    over = np.maximum(amounts - min(limits, default=np.inf), 0.0)
    blocked = any(gate.gate.may_stay and gate.state == "fails" for item in stages for gate in item.gates)
    uncertain = number("practice_uncertain_weight") if blocked else 0.0
    cost: Floats = number("practice_cautioned_weight") * over / 10 + uncertain * amounts / 10
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
