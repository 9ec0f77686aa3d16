"""What must hold among the tables of a programme before it is worked out: their shapes, chances, order and start."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from pathway.problems import Problem

if TYPE_CHECKING:
    from pathway.courses.policy.programme import Programme

SHAPES = {
    "tempo": {
        "chance": "K",
        **dict.fromkeys(("reached", "offset_mm", "long_leg_mm"), "K T+1"),
    },
    "forecast": {"step_variance_mm2": "T"},
    "lengthening": {
        "amounts_mm": "X",
        "gain_steps": "T X O",
        "gain_chance": "T X O G",
        "joints": "T X G S S",
        **dict.fromkeys(("loss_chance", "loss_mm", "planned"), "T X"),
        **dict.fromkeys(("stop_chance", "device_months"), "T X G"),
        **dict.fromkeys(("allowed", "cost", "unplanned", "harm"), "T X G S"),
    },
    "arrest": {
        "sitting": "T W",
        **dict.fromkeys(("allowed", "allowed_at_start"), "J T"),
        **dict.fromkeys(("effect_mm", "cost", "cost_at_start", "cost_at_removal"), "K J T"),
    },
}
"""The axes of each table; those of a lengthening hold for every set."""
ORDER = {"bone_of": "N", "when": "T N W"}
"""The axes of the programme's own tables: which lengthening comes when."""

CHANCES = (
    ("tempo", "chance"),
    ("lengthening", "gain_chance"),
    ("lengthening", "loss_chance"),
    ("lengthening", "joints"),
    ("lengthening", "stop_chance"),
    ("arrest", "repeat_chance"),
)
SUMS = (("tempo", "chance", 0), ("lengthening", "gain_chance", 2), ("lengthening", "joints", 4))
"""Chances that add up to 1 along an axis."""

_SURE = 1e-9


def problems_of(given: Programme) -> Iterator[Problem]:
    """Yield all that does not fit; values are looked at only where every shape is right."""
    if not given.lengthenings:
        yield _problem("lengthenings", "none", "at least one set of tables", "give one without amounts")
        return
    sizes = _sizes(given)
    wrong = False
    tables = [(f"{name}.{table}", getattr(of, table), axes) for name, of, table, axes in _tables(given)]
    tables += [(name, getattr(given, name), axes) for name, axes in ORDER.items()]
    for name, table, axes in tables:
        found, expected = np.shape(table), tuple(sizes[axis] for axis in axes.split())
        if found != expected:
            wrong = True
            yield _problem(name, f"the shape {found}", f"{expected} ({axes})", "build it so")
    if not wrong:
        yield from _values(given)
        yield from _order(given)
        yield from _start(given)


def _groups(given: Programme) -> Iterator[tuple[str, str, object]]:
    """Yield each group of tables: the name it is told by, its kind, itself."""
    for at, one in enumerate(given.lengthenings):
        yield f"lengthenings[{at}]", "lengthening", one
    for kind in SHAPES:
        if kind != "lengthening":
            yield kind, kind, getattr(given, kind)


def _tables(given: Programme) -> Iterator[tuple[str, object, str, str]]:
    """Yield every table: its group's name, the group, its own name and axes."""
    for name, kind, group in _groups(given):
        for table, axes in SHAPES[kind].items():
            yield name, group, table, axes


def _sizes(given: Programme) -> dict[str, int]:
    """Return the length of every axis, each from one table; 0 where that one lacks the axis."""

    def axis(table: object, at: int) -> int:
        return (*np.shape(table), *(0,) * 5)[at]  # type: ignore[call-overload, no-any-return]

    length, arrest = given.lengthenings[0], given.arrest
    visits = axis(given.age_years, 0)
    return {
        "K": axis(given.tempo.chance, 0),
        "T": visits - 1,
        "T+1": visits,
        "X": axis(length.allowed, 1),
        "G": axis(length.allowed, 2),
        "S": axis(length.allowed, 3),
        "N": axis(given.when, 1),
        "W": axis(given.when, 2),
        "O": axis(length.gain_steps, 2),
        "J": axis(arrest.allowed, 0),
    }


def _values(given: Programme) -> Iterator[Problem]:
    for group, of, name, _ in _tables(given):
        if not np.isfinite(getattr(of, name)).all():
            yield _problem(f"{group}.{name}", "a value that is not finite", "finite numbers", "bar it by `allowed`")
    for group, kind, of in _groups(given):
        for name in (name for of_kind, name in CHANCES if of_kind == kind):
            table = np.asarray(getattr(of, name))
            if table.size and not (table.min() >= 0 and table.max() <= 1 + _SURE):
                found = f"chances from {table.min():g} to {table.max():g}"
                yield _problem(f"{group}.{name}", found, "0 to 1", "give each as a share of 1")
        for name, at in ((name, at) for of_kind, name, at in SUMS if of_kind == kind):
            sums = np.asarray(getattr(of, name)).sum(axis=at)
            if sums.size and np.abs(sums - 1).max() > _SURE:
                found = f"chances that add up to {sums.flat[np.abs(sums - 1).argmax()]:g}"
                yield _problem(f"{group}.{name}", found, "1", "let every case have its chance")
    least = {
        "age_years, the steps": np.diff(given.age_years).min(initial=1) - _SURE,
        "grid_mm": given.grid_mm - _SURE,
        "forecast.step_variance_mm2": np.min(given.forecast.step_variance_mm2, initial=0),
        "forecast.open_variance_mm2": given.forecast.open_variance_mm2,
        "forecast.below and above": min(given.forecast.below, given.forecast.above),
        "tempo.long_leg_mm": np.min(given.tempo.long_leg_mm) - _SURE,
        "lengthening.gain_steps": min(np.min(one.gain_steps, initial=0) for one in given.lengthenings),
        "arrest.sd_share": given.arrest.sd_share,
        "arrest.told_sd_mm": 0.0 if given.arrest.told_sd_mm is None else np.min(given.arrest.told_sd_mm, initial=0),
        "costs.burden_power": given.costs.burden_power,
        "costs.miss_scale_mm": given.costs.miss_scale_mm - _SURE,
        "costs.wish_a_year": given.costs.wish_a_year,
    }
    for name, value in least.items():
        if value < 0:
            yield _problem(name, "a value that is too small", "at least 0, and above it where one divides by it", "")


def _order(given: Programme) -> Iterator[Problem]:
    sets = len(given.lengthenings)
    bones = np.asarray(given.bone_of)
    if bones.size and not (bones.min() >= 0 and bones.max() < sets):
        yield _problem("bone_of", f"{bones.min()} to {bones.max()}", f"0 to {sets - 1}", "")
    amounts = [one.amounts_mm for one in given.lengthenings]
    if not all(np.array_equal(one, amounts[0]) for one in amounts):
        yield _problem("lengthenings", "different amounts", "the same in every set", "bar some by `allowed`")


def _start(given: Programme) -> Iterator[Problem]:
    start = given.start
    for name, value, sizes in (
        ("joint", start.joint, given.joints),
        ("done", start.done, given.most + 1),
        ("waited", start.waited, given.waits),
    ):
        if not 0 <= value < sizes:
            yield _problem(f"start.{name}", str(value), f"0 to {sizes - 1}", "")
    if not 0 <= given.tempo.known_from <= given.steps:
        yield _problem("tempo.known_from", str(given.tempo.known_from), f"a visit, 0 to {given.steps}", "")


def _problem(key: str, found: str, expected: str, remedy: str) -> Problem:
    return Problem("policy", key, None, found, expected, remedy)
