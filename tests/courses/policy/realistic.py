"""An invented programme of the planner's size and shape: a short leg of a child of 4 years. No number is clinical."""

from __future__ import annotations

import numpy as np

from pathway.courses.policy.programme import (
    BARRED,
    OWN,
    REMOVAL,
    Arrest,
    Bools,
    Costs,
    Floats,
    Forecast,
    Lengthening,
    Programme,
    Start,
    Tempo,
)

MATURE_YEARS = 15.0
LIMITS = {"percent": 30.0, "rest_years": 3.0, "rest_grown_years": 1.0, "arrest_from_years": 9.0}
"""What the tables of this programme forbid beyond."""


def realistic(
    *,
    grid_mm: float = 5.0,
    mean_mm: float = 140.0,
    age_years: float = 4.0,
    quarters: bool = False,
    burden: float = 0.03,
    risk: float = 1.0,
    tempo_known_years: float = 9.0,
) -> Programme:
    """Return the programme; `quarters` adds quarter-years where arrests are possible (and waits are longer then)."""
    ages = np.arange(age_years, MATURE_YEARS + 3.01 - (0.0 if not quarters else 1.0), 0.5)
    if quarters:
        ages = np.unique(np.r_[ages, np.arange(max(9.25, age_years), 13.0, 0.25)])
    waits = 1 + max(int(np.sum((ages > age - 3.0) & (ages <= age))) for age in ages)
    joints, most = 4, 4
    shift = np.array([-0.9, 0.0, 0.9])
    share = np.clip((ages - shift[:, None] + 1.5) / (MATURE_YEARS + 1.5), 0.2, 1.0) ** 1.1
    gone = (share - share[:, :1]) / np.maximum(share[:, -1:] - share[:, :1], 1e-9)
    share = np.minimum(share[1, 0] + gone * (1 - share[1, 0]), 1.0)  # today all classes have the same difference
    bone = 200 + 210 * share[1]  # the short bone
    grid = round(5 / grid_mm)
    lengthening = _lengthening(ages, bone, grid_mm, joints, risk)
    left = np.maximum(MATURE_YEARS + shift[:, None] - ages[:-1], 0)
    effect = np.stack([k * left for k in (9.0, 6.0, 15.0)], axis=1)
    open_left = np.clip((MATURE_YEARS + 0.5 - ages) / (MATURE_YEARS + 0.5 - ages[0]), 0, 1) ** 1.5
    variance = (0.13 * mean_mm) ** 2 * open_left
    small = (effect >= 8) & (effect <= 52)
    allowed = small.all(axis=0) & (ages[:-1] >= LIMITS["arrest_from_years"])
    sitting = np.full((len(ages) - 1, waits), OWN)
    sitting[:, :4] = BARRED
    sitting[:, 2] = REMOVAL
    cost = 1.4 + 1.0 * (effect / 50) ** 2 + np.array([0, 0.8, 0])[None, :, None]
    return Programme(
        age_years=ages,
        grid_mm=grid_mm,
        tempo=Tempo(
            chance=np.array([0.25, 0.5, 0.25]),
            known_from=int(np.searchsorted(ages, max(tempo_known_years, age_years))),
            reached=share,
            offset_mm=np.zeros(share.shape),
            long_leg_mm=430 + 390 * share,
        ),
        forecast=Forecast(
            mean_mm=mean_mm,
            below=34 * grid,
            above=25 * grid,
            step_variance_mm2=-np.diff(variance),
            open_variance_mm2=float(variance[-1]) + 4.0,
        ),
        lengthenings=(lengthening,),
        bone_of=np.zeros(most, int),
        when=_when(ages, most, waits),
        arrest=Arrest(
            effect_mm=effect,
            sd_share=0.2,
            allowed=allowed,
            allowed_at_start=allowed,
            sitting=sitting,
            cost=cost,
            cost_at_start=cost - 0.9,
            cost_at_removal=cost - 0.9,
            repeat_chance=0.04,
            repeat_cost=1.0,
            planned=1.0,
            planned_at_start=0.0,
            planned_at_removal=0.0,
            after_stop=True,
        ),
        costs=Costs(
            burden=burden,
            burden_from_percent=3.0,
            burden_power=1.5,
            miss=1.4,
            miss_flat_mm=10.0,
            miss_scale_mm=10.0,
            over_percent=5.0,
            within_mm=(10.0, 20.0),
            near_years=1.0,
            near_mm=10.0,
        ),
        start=Start(arrested=False, stopped=False, joint=0, done=0, waited=waits - 1),
    )


def _when(ages: Floats, most: int, waits: int) -> Bools:
    when = np.zeros((len(ages) - 1, most, waits), bool)
    for visit, age in enumerate(ages[:-1]):
        rest = LIMITS["rest_grown_years"] if age >= MATURE_YEARS else LIMITS["rest_years"]
        for wait in range(waits):
            since = age - ages[visit - wait] if wait <= visit else np.inf
            when[visit, :, wait] = (wait == waits - 1 or since >= rest - 1e-9) and age >= 5
    when[:, 2] &= ages[:-1, None] >= 11
    when[:, 3] &= ages[:-1, None] >= MATURE_YEARS
    return when


def _lengthening(ages: Floats, bone: Floats, grid_mm: float, joints: int, risk: float) -> Lengthening:
    steps, amounts, grid = len(ages) - 1, 5.0 * np.arange(6, 17), round(5 / grid_mm)
    gains = 34 * grid + 1
    length = bone[:-1, None, None] + grid_mm * np.arange(gains)
    mm = amounts[None, :, None]
    percent = 100 * mm / length
    part = risk * percent / 20
    years = ages[:-1, None, None]
    month = np.where(years >= 12, 0.03, 0.075)
    months = mm * 0.12 + 0 * percent
    unplanned = 0.2 * part + 0.0 * years
    harm = 0.03 * part * (1 + np.maximum(6 - years, 0) * 0.2)
    over = 2.0 * (np.maximum(percent - 20, 0) / 7) ** 2 + 1.0 * (np.maximum(mm - 55, 0) / 10) ** 2
    cost = 2.0 + month * months + unplanned + 12 * harm + over + 0.3 * (np.maximum(35 - mm, 0) / 10) ** 2
    worse = np.array([0.0, 0.5, 0.4, 0.6])  # with a joint already in trouble
    slip, stiff = np.minimum(0.05 * part, 0.4), np.minimum(0.03 * part, 0.3)
    change = np.zeros((steps, len(amounts), gains, joints, joints))
    change[..., 0, 1], change[..., 0, 2], change[..., 0, 3] = slip, slip / 2, stiff
    change[..., 1, 3] = change[..., 2, 3] = stiff
    for joint in range(joints):
        change[..., joint, joint] = 1 - change[..., joint, :].sum(axis=-1)
    at = np.broadcast_to(percent[..., None] <= LIMITS["percent"], (*percent.shape, joints))
    goal = np.round(amounts / grid_mm).astype(int)
    short = np.round(0.7 * amounts / grid_mm).astype(int)
    stop = np.minimum(0.08 * part, 0.5)
    side = 0.32 * (1 - stop)
    chance = np.stack([1 - stop - 2 * side, side, side, stop], axis=2)
    cost = cost[..., None] + worse
    return Lengthening(
        amounts_mm=amounts,
        allowed=at,
        cost=cost,
        gain_steps=np.stack([goal, goal - grid, goal + grid, short], axis=1)[None].repeat(steps, axis=0),
        gain_chance=chance,
        loss_chance=np.minimum(0.12 * part.mean(axis=2), 0.6),
        loss_mm=np.repeat(0.2 * np.maximum(bone[-1] - bone[:-1], 0)[:, None], len(amounts), axis=1),
        joints=change,
        stop_chance=np.minimum(0.067 * np.ones_like(percent), 1),
        planned=np.full((steps, len(amounts)), 2.0),
        unplanned=np.repeat(unplanned[..., None], joints, axis=-1),
        harm=np.repeat(harm[..., None], joints, axis=-1),
        device_months=months,
    )
