"""What goes wrong on a policy, counted in 100 children, with the range between teams.

The policy is that of a typical team; its lengthenings are then counted at the low and at the high end of what a new
team may see, in every outcome at once. Who stops, or whose joints slip, stays as for the typical team.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np

from pathway.courses.policy.child import ChildProgramme
from pathway.courses.policy.counts import Harm
from pathway.courses.policy.programme import Floats
from pathway.courses.policy.risks import LASTING, SLIPPED, lasting_harm_of, lengthening_of
from pathway.protocol.question import Question
from pathway.risk.step_risks import SIGNS, Level, StepRisks, step_risks
from pathway.risk.steps import Step

COUNTED = (LASTING, "hip", "knee", "knee_lasting", "fracture", "deep_infection", "shortfall")
"""Outcomes of the pooled table that are counted of a course, in this order."""
_LEVELS: tuple[Level, ...] = ("centre", "low", "high")


def harms_of(child: ChildProgramme, lengthened_at: tuple[Floats, ...], question: Question) -> tuple[Harm, ...]:
    """Return what goes wrong when lengthenings have these chances, by set of tables (T, X, G, S)."""
    total = {(name, level): 0.0 for name in COUNTED for level in SIGNS}
    for index, weights in enumerate(lengthened_at):
        for step, chances in _steps(child, index, weights, question):
            for level in _LEVELS:
                for name, events in _counted(step, chances, level, question).items():
                    total[name, level] += 100 * events
    return tuple(Harm(name, *(total[name, level] for level in _LEVELS)) for name in COUNTED if total[name, "high"] > 0)


def _steps(child: ChildProgramme, index: int, weights: Floats, question: Question) -> Iterator[tuple[Step, Floats]]:
    """Yield the lengthenings that are done, those of one device as one step of arrays, with their chances (n, S)."""
    tables, programme = child.tables[index], child.programme
    at = np.nonzero(weights.sum(axis=3) > 0)
    used = tables.used[at]
    for number in sorted(set(used.tolist())):
        visit, amount, gain = (part[used == number] for part in at)
        step = lengthening_of(
            question,
            child.bone_of_tables(index),
            np.asarray(programme.amounts_mm[amount], np.float64),
            np.asarray(tables.percent[visit, amount, gain], np.float64),
            np.asarray(programme.age_years[visit], np.float64),
            child.cover,
            tables.devices[number],
        )
        yield step, weights[visit, amount, gain]


def _counted(step: Step, chances: Floats, level: Level, question: Question) -> Mapping[str, float]:
    """Return the expected number of lengthenings with each outcome, a slipped hip or knee as a hip poorly covered."""
    protocol, sound = question.protocol, ~np.array(SLIPPED)
    share = protocol.number("slip_lasting_share")
    found = dict.fromkeys(COUNTED, 0.0)
    for joints, one in ((sound, step), (~sound, replace(step, hip_cover="poor"))):
        here = chances[:, joints].sum(axis=1)
        if here.any():
            risks = step_risks(protocol, one, level=level)
            for name in COUNTED:
                found[name] += float(here @ _chance(name, risks, share))
    return found


def _chance(name: str, risks: StepRisks, slip_share: float) -> Floats:
    if name == LASTING:
        return lasting_harm_of(risks, slip_share)
    return risks.chance(name)
