"""Random small programmes for exact comparison, of the shape the planner makes. No number here is clinical."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pathway.courses.policy.programme import (
    BARRED,
    OWN,
    REMOVAL,
    Arrest,
    Costs,
    Floats,
    Forecast,
    Lengthening,
    Programme,
    Start,
    Tempo,
)


@dataclass(frozen=True)
class Size:
    """The sizes of a random programme; see `pathway.courses.policy.programme`."""

    steps: int = 3
    classes: int = 2
    joints: int = 2
    most: int = 2
    waits: int = 3
    amounts: int = 2
    bones: int = 1
    outcomes: int = 2
    sets: int = 1
    gains: int = 6
    below: int = 3
    above: int = 2


def shares(rng: np.random.Generator, shape: tuple[int, ...], axis: int) -> Floats:
    """Return chances that add up to 1 along an axis, a third of them 0 but never all."""
    raw = rng.random(shape) * (rng.random(shape) > 1 / 3) + 1e-3 * rng.random(shape)
    return raw / raw.sum(axis=axis, keepdims=True)


def random_programme(seed: int, size: Size = Size(), *, certain: bool = False) -> Programme:
    """Return a programme in which all is arbitrary; `certain` leaves nothing to chance and ends nothing early."""
    rng = np.random.default_rng(seed)
    steps, sets = size.steps, size.sets
    classes, joints = (1, 1) if certain else (size.classes, size.joints)
    chancy = 0.0 if certain else 1.0
    reached = np.sort(rng.uniform(0.2, 1, (classes, steps + 1)), axis=1)
    when = rng.random((steps, size.most, size.waits)) < 0.7
    sitting = rng.choice((BARRED, OWN, REMOVAL), (steps, size.waits))
    sitting[:, -1] = rng.choice((OWN, OWN, BARRED), steps)
    effect = -np.sort(-rng.uniform(0, 14, (classes, sets, steps)), axis=2)
    if certain:
        effect = np.round(effect / 5) * 5
    arrested = bool(rng.random() < 0.25)
    stopped = bool(rng.random() < 0.08) and not certain
    done = int(rng.integers(0, max(size.most, 1)))
    return Programme(
        age_years=np.cumsum(np.r_[5.0, rng.choice((0.25, 0.5), steps)]),
        grid_mm=5.0,
        tempo=Tempo(
            chance=shares(rng, (classes,), 0),
            known_from=int(rng.integers(0, steps + 1)),
            reached=reached,
            offset_mm=rng.uniform(-3, 3, (classes, steps + 1)),
            long_leg_mm=np.sort(rng.uniform(400, 700, (classes, steps + 1)), axis=1),
        ),
        forecast=Forecast(
            mean_mm=float(rng.uniform(5, 45)),
            below=size.below,
            above=size.above,
            step_variance_mm2=chancy * rng.uniform(0, 20, steps),
            open_variance_mm2=chancy * float(rng.uniform(0, 30)),
        ),
        lengthenings=tuple(_lengthening(rng, size, certain=certain) for _ in range(size.bones)),
        bone_of=rng.integers(0, size.bones, size.most),
        when=when,
        arrest=Arrest(
            effect_mm=effect,
            sd_share=0.2 * chancy,
            allowed=rng.random((sets, steps)) < 0.6,
            allowed_at_start=rng.random((sets, steps)) < 0.4,
            sitting=sitting,
            cost=rng.uniform(0, 2, (classes, sets, steps)),
            cost_at_start=rng.uniform(0, 1, (classes, sets, steps)),
            cost_at_removal=rng.uniform(0, 1, (classes, sets, steps)),
            repeat_chance=0.1 * chancy,
            repeat_cost=1.3,
            planned=1.0,
            planned_at_start=0.0,
            planned_at_removal=0.0,
            after_stop=bool(rng.random() < 0.5),
        ),
        costs=Costs(
            burden=0.2,
            burden_from_percent=float(rng.uniform(0, 4)),
            burden_power=float(rng.choice((1.0, 1.5, 2.0))),
            miss=float(rng.uniform(0.5, 3)),
            miss_flat_mm=float(rng.uniform(0, 10)),
            miss_scale_mm=10.0,
            over_percent=5.0,
            within_mm=(10.0, 20.0),
            near_years=1.0,
            near_mm=10.0,
            wish_mm=float(rng.choice((np.inf, 5.0, 15.0))),
            wish_a_year=0.4,
        ),
        start=Start(
            arrested=arrested,
            stopped=stopped,
            joint=int(rng.integers(0, joints)),
            done=done,
            waited=int(rng.integers(0, size.waits)) if done else size.waits - 1,
        ),
    )


def _lengthening(rng: np.random.Generator, size: Size, *, certain: bool) -> Lengthening:
    steps, amounts, gains = size.steps, size.amounts, size.gains
    joints, outcomes = (1, 1) if certain else (size.joints, size.outcomes)
    chancy = 0.0 if certain else 1.0
    change = np.zeros((steps, amounts, gains, joints, joints)) + np.eye(joints)
    gain_chance = np.ones((steps, amounts, outcomes, gains))
    if not certain:
        change, gain_chance = shares(rng, change.shape, 4), shares(rng, gain_chance.shape, 2)
    return Lengthening(
        amounts_mm=5.0 * np.arange(1, amounts + 1),
        allowed=rng.random((steps, amounts, gains, joints)) < 0.75,
        cost=rng.uniform(0, 2, (steps, amounts, gains, joints)),
        gain_steps=rng.integers(0 if not certain else 1, 4, (steps, amounts, outcomes)),
        gain_chance=gain_chance,
        loss_chance=chancy * rng.uniform(0, 0.6, (steps, amounts)) * (rng.random((steps, amounts)) < 0.7),
        loss_mm=rng.choice((2.0, 4.0, 7.5), (steps, amounts)),
        joints=change,
        stop_chance=chancy * rng.uniform(0, 0.3, (steps, amounts, gains)) * (rng.random() < 0.7),
        planned=rng.integers(1, 3, (steps, amounts)).astype(float),
        unplanned=rng.random((steps, amounts, gains, joints)),
        harm=rng.random((steps, amounts, gains, joints)),
        device_months=rng.uniform(1, 9, (steps, amounts, gains)),
    )
