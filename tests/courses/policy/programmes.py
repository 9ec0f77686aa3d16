"""Random small programmes for exact comparison, and an invented one of real size. No number here is clinical."""

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
    K, T, X, G, S, O, J = (
        size.classes, size.steps, size.amounts, size.gains, size.joints, size.outcomes, size.sets,
    )  # fmt: skip
    chancy = 0.0 if certain else 1.0
    if certain:
        K, S, O = 1, 1, 1
    reached = np.sort(rng.uniform(0.2, 1, (K, T + 1)), axis=1)
    when = rng.random((T, size.most, size.waits)) < 0.7
    sitting = rng.choice((BARRED, OWN, REMOVAL), size.waits)
    sitting[-1] = rng.choice((OWN, OWN, BARRED))
    effect = -np.sort(-rng.uniform(0, 14, (K, J, T)), axis=2)
    if certain:
        effect = np.round(effect / 5) * 5
    joints = np.zeros((T, X, G, S, S)) + np.eye(S)
    gain_chance = np.ones((T, X, O, G))
    if not certain:
        joints, gain_chance = shares(rng, joints.shape, 4), shares(rng, gain_chance.shape, 2)
    arrested = bool(rng.random() < 0.25)
    stopped = bool(rng.random() < 0.08) and not certain
    done = int(rng.integers(0, size.most))
    return Programme(
        age_years=np.cumsum(np.r_[5.0, rng.choice((0.25, 0.5), T)]),
        grid_mm=5.0,
        tempo=Tempo(
            chance=shares(rng, (K,), 0),
            known_from=int(rng.integers(0, T + 1)),
            reached=reached,
            offset_mm=rng.uniform(-3, 3, (K, T + 1)),
            long_leg_mm=np.sort(rng.uniform(400, 700, (K, T + 1)), axis=1),
        ),
        forecast=Forecast(
            mean_mm=float(rng.uniform(5, 45)),
            below=size.below,
            above=size.above,
            step_variance_mm2=chancy * rng.uniform(0, 20, T),
            open_variance_mm2=chancy * float(rng.uniform(0, 30)),
        ),
        lengthening=Lengthening(
            amounts_mm=5.0 * np.arange(1, X + 1),
            allowed=rng.random((T, X, G, S)) < 0.75,
            when=when,
            cost=rng.uniform(0, 2, (T, X, G, S)),
            gain_steps=rng.integers(0 if not certain else 1, 4, (T, X, O)),
            gain_chance=gain_chance,
            loss_chance=chancy * rng.uniform(0, 0.6, (T, X)) * (rng.random((T, X)) < 0.7),
            loss_mm=rng.choice((2.0, 4.0, 7.5), (T, X)),
            joints=joints,
            stop_chance=chancy * rng.uniform(0, 0.3, (T, X, G)) * (rng.random() < 0.7),
            planned=rng.integers(1, 3, (T, X)).astype(float),
            unplanned=rng.random((T, X, G, S)),
            harm=rng.random((T, X, G, S)),
            device_months=rng.uniform(1, 9, (T, X, G)),
        ),
        arrest=Arrest(
            effect_mm=effect,
            sd_share=0.2 * chancy,
            allowed=rng.random((J, T)) < 0.6,
            allowed_at_start=rng.random((J, T)) < 0.4,
            sitting=sitting,
            cost=rng.uniform(0, 2, (K, J, T)),
            cost_at_start=rng.uniform(0, 1, (K, J, T)),
            cost_at_removal=rng.uniform(0, 1, (K, J, T)),
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
        ),
        start=Start(
            arrested=arrested,
            stopped=stopped,
            joint=int(rng.integers(0, S)),
            done=done,
            waited=int(rng.integers(0, size.waits)) if done else size.waits - 1,
        ),
    )
