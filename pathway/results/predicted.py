"""What an accepted revision said on its day, read from the plan as it was kept: nothing is planned again.

A revision holds the difference in length at ages a few months apart, with 5, 25, 50, 75 and 95 of 100, without
operations to come and with the plan, and the length of either leg with the plan without a spread. Between two of its
days it is taken to run straight. A revision of a child without a measured length states none of it.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
QUANTILES = ("p05", "p25", "p50", "p75", "p95")
BEGUN = ("done", "under_way")


@dataclass(frozen=True, slots=True)
class StatedHarm:
    """What was said to go wrong at a stage in so many of 100, `low` to `high` for a new team; None where not known."""

    id: str
    label: str
    per_100: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class StatedStage:
    """A stage to come as the revision had it; `waived` are the gates that were waived, each with the reason."""

    kind: str
    label: str
    number: int
    side: str
    operation: bool
    on: datetime.date | None
    amount_mm: float | None
    percent: float | None
    months: float | None
    device: str | None
    harms: tuple[StatedHarm, ...]
    waived: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Curve:
    """The difference in length over days: natural course and with the plan, (5 quantiles, days); the legs (days)."""

    days: Floats
    natural_mm: Floats
    planned_mm: Floats
    long_leg_mm: Floats
    short_leg_mm: Floats

    def natural(self, on: datetime.date) -> Floats:
        """Return the five quantiles without operations to come on a day."""
        return _at(self.days, self.natural_mm, on)

    def planned(self, on: datetime.date) -> Floats:
        """Return the five quantiles with the plan on a day."""
        return _at(self.days, self.planned_mm, on)

    def legs(self, on: datetime.date) -> tuple[float, float]:
        """Return the length of the long and of the short leg with the plan on a day, mm."""
        day = on.toordinal()
        return float(np.interp(day, self.days, self.long_leg_mm)), float(np.interp(day, self.days, self.short_leg_mm))


@dataclass(frozen=True, slots=True)
class Revision:
    """An accepted plan as it was kept: its number, its day, the day of acceptance, and what it said.

    `curve` is None where it states no length. The chances are those of the course that it recommends.
    """

    number: int
    on: datetime.date
    accepted: datetime.date
    curve: Curve | None
    maturity: datetime.date | None
    within_mm: Mapping[int, float]
    stages: tuple[StatedStage, ...]


def revision_of_data(number: int, on: datetime.date, accepted: datetime.date, plan: Mapping[str, Any]) -> Revision:
    """Return what a stored plan says; `plan` needs `growth`, `stages` and `alternatives`, of whatever version.

    Raises ValueError, TypeError or KeyError for data that is no plan.
    """
    growth = plan.get("growth") or {}
    best: Mapping[str, Any] = next((one for one in plan.get("alternatives", ()) if one.get("recommended")), {})
    chances = {mm: best.get(f"chance_within_{mm}_mm") for mm in (10, 20)}
    return Revision(
        number=number,
        on=on,
        accepted=accepted,
        curve=_curve(growth.get("by_age") or ()),
        maturity=_day(growth.get("maturity_date")),
        within_mm={mm: float(chance) for mm, chance in chances.items() if chance is not None},
        stages=tuple(_stage(one) for one in plan.get("stages", ()) if _to_come(one)),
    )


def _curve(points: Sequence[Mapping[str, Any]]) -> Curve | None:
    if not points:
        return None
    days = np.array([_ordinal(point["date"]) for point in points], dtype=float)
    natural, planned = (
        np.array([[point[name][q] for q in QUANTILES] for point in points], dtype=float).T
        for name in ("discrepancy_mm", "with_plan_mm")
    )
    long, short = (np.array([point[name] for point in points], dtype=float) for name in ("long_leg_mm", "short_leg_mm"))
    return Curve(days, natural, planned, long, short)


def _to_come(one: Mapping[str, Any]) -> bool:
    """Return whether a stage is to come and the plan commits to something of it: a day, or a gate that was waived."""
    said = one.get("date") is not None or any(gate.get("state") == "waived" for gate in one.get("gates", ()))
    return said and one.get("status") not in BEGUN


def _stage(one: Mapping[str, Any]) -> StatedStage:
    side = str(one.get("side", ""))
    return StatedStage(
        kind=str(one["kind"]),
        label=str(one.get("label", one["kind"])),
        number=int(one.get("number", 1)),
        side=side,
        operation=bool(one.get("operation")),
        on=_day(one.get("date")),
        amount_mm=one.get("amount_mm"),
        percent=one.get("amount_percent"),
        months=one.get("duration_months"),
        device=(one.get("device") or {}).get("id"),
        harms=tuple(
            StatedHarm(harm["id"], harm["label"], harm.get("per_100"), harm.get("low"), harm.get("high"))
            for harm in one.get("harms", ())
        ),
        waived=tuple(
            (str(gate["id"]), str(gate.get("waived_because") or ""))
            for gate in one.get("gates", ())
            if gate.get("state") == "waived"
        ),
    )


def _at(days: Floats, quantiles: Floats, on: datetime.date) -> Floats:
    day = float(np.clip(on.toordinal(), days[0], days[-1]))
    after = min(max(int(np.searchsorted(days, day)), 1), len(days) - 1)
    if len(days) == 1:
        return np.asarray(quantiles[:, 0], dtype=np.float64)
    part = (day - days[after - 1]) / (days[after] - days[after - 1])
    return np.asarray((1 - part) * quantiles[:, after - 1] + part * quantiles[:, after], dtype=np.float64)


def _ordinal(text: object) -> int:
    return datetime.date.fromisoformat(str(text)).toordinal()


def _day(text: object) -> datetime.date | None:
    return None if text is None else datetime.date.fromisoformat(str(text))
