"""Children with two roads, each an example child with one thing changed: planned once a run."""

from __future__ import annotations

from functools import cache
from typing import Literal

from pathway.casefile import read_case
from pathway.plan.make import make_plan
from pathway.plan.model import Plan
from pathway.protocol.question import Question
from pathway.record import Record
from tests.plans import DAY, files, rules

Who = Literal["three_rays", "two_rays", "asked", "kept", "both_legs"]
WISH = '\n[[decision]]\ndate = 2026-11-01\nby = "family"\nkind = "prefer"\nprefer = "{}"\nreason = "a talk"\n'


@cache
def case(who: Who) -> str:
    """Return the text of the case: three rays of the foot, so that both roads stand side by side, or one change."""
    text = files()["birch-04"]
    changed = {
        "three_rays": text,
        "two_rays": text.replace("foot_rays = { value = 3", "foot_rays = { value = 1"),
        "asked": text + WISH.format("prosthesis"),
        "kept": text + WISH.format("lengthening"),
        "both_legs": text.replace('affected_side = "right"', 'affected_side = "both"'),
    }[who]
    assert who == "three_rays" or changed != text
    return changed


@cache
def child(who: Who) -> Record:
    """Return the record of that child."""
    record = read_case(case(who), f"{who}.toml", rules())
    assert isinstance(record, Record), record
    return record


@cache
def made(who: Who) -> Plan:
    """Return the plan of that child."""
    return make_plan(Question(child(who), rules(), DAY))
