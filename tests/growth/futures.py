"""One possible future of a posterior taken as the truth, and films of it with their errors."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import fields, replace

import numpy as np

from pathway.days import day_at_age
from pathway.growth import BONES, Leg, Posterior, Step, outlook
from pathway.protocol.model import Protocol
from pathway.record import Measurement, Record, Value, Visit

FILM = "standing_full_length_film"


def future(posterior: Posterior, draw: int) -> Posterior:
    """Return the posterior with one draw, which is its centre too."""
    bones = {}
    for bone, draws in posterior.bones.items():
        one = {
            name: getattr(draws, name)[..., draw : draw + 1]
            for name in (f.name for f in fields(draws))
            if getattr(getattr(draws, name), "shape", ())[-1:] == (posterior.draws,)
        }
        bones[bone] = replace(draws, **one)
    return replace(posterior, bones=bones, middle=None)


def lengths_at(truth: Posterior, steps: Sequence[Step], age: float) -> dict[tuple[Leg, str], float]:
    """Return the true length of each bone at an age, mm; operations of that very age come after it."""
    seen = outlook(truth, [step for step in steps if step.age_years < age], np.array([age]))
    return {(leg, bone): float(seen.lengths(f"{leg}_{bone}")[0, 0]) for leg in ("long", "short") for bone in BONES}  # type: ignore[arg-type]


def film(
    truth: Posterior,
    steps: Sequence[Step],
    date: datetime.date,
    age: float,
    record: Record,
    protocol: Protocol,
    rng: np.random.Generator,
    findings: Mapping[str, Value] | None = None,
) -> Visit:
    """Return a visit with all four bones as a film shows them: magnified together, each with its error."""
    sd = protocol.method(FILM).length_sd_mm or 0.0
    wander = {bone: float(np.exp(protocol.number("bone_wander_sd") * rng.standard_normal())) for bone in BONES}
    items = []
    for (leg, bone), mm in lengths_at(truth, steps, age).items():
        side = record.affected_side if leg == "short" else record.other_side
        value = mm * wander[bone] + sd * rng.standard_normal()  # type: ignore[index]
        items.append(Measurement(finding=f"{bone}_length_mm", side=side, value=max(value, 1.0), method=FILM))
    for name, value in (findings or {}).items():
        alone = name in ("active_infection", "therapy_arranged")
        items.append(
            Measurement(finding=name, side=None if alone else record.affected_side, value=value, method="examination")
        )
    return Visit(date=date, method=FILM, measurements=tuple(items))


def day(record: Record, age: float) -> datetime.date:
    return day_at_age(record.child.date_of_birth, age)
