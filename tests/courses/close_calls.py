"""Invented children and what their plans say of the first operation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pathway.plan.make import make_plan
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from tests.courses.childhood import OLDEST, YOUNGEST, invent


@dataclass(frozen=True, slots=True)
class Told:
    """Whether the first operation is a close call, how firm it is, why, and the gap."""

    close: bool
    level: str
    why: tuple[str, ...]
    gap: float | None


def told(protocol: Protocol, seed: int, number: int) -> Told | None:
    """Return what the plan of a child says; None where it has no course for length."""
    record, day = invent(protocol, np.random.default_rng([seed, number]), (YOUNGEST, OLDEST))
    plan = make_plan(Question(record, protocol, day), seed=number, compared=False)
    best = plan.recommended
    if best is None or best.residual_mm is None:
        return None
    part = plan.firmness
    why = tuple(item.what if item.what == "gap" else f"{item.what} {item.id}" for item in part.why)
    return Told(part.close_call, part.level, why, part.gap)
