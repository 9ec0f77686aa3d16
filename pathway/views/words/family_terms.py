"""What the drawings and the documents say alike: names of steps, days, ages, lengths, in the words of a language."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from itertools import groupby

from pathway.plan.model import Plan, PlanStage
from pathway.views.words.wording import Wording

CHECKS = "checks"
MOST_QUESTIONS = 4
"""So many things still to measure are named to a family; the others are counted."""


@dataclass(frozen=True, slots=True)
class Step:
    """All stages of one kind that the family meets as one step, with the number that drawings and text share."""

    number: int
    kind: str
    stages: tuple[PlanStage, ...]


def steps(plan: Plan) -> tuple[Step, ...]:
    """Return the dated steps to come or under way, in the order of their first date; what goes with one is in it."""
    dated = [s for s in plan.stages if s.date is not None and s.status != "done" and not s.goes_with]
    kinds = {s.kind: min(other.date for other in dated if other.kind == s.kind and other.date) for s in dated}
    order = sorted(kinds, key=lambda kind: (kinds[kind], [s.kind for s in plan.stages].index(kind)))
    return tuple(Step(n, kind, tuple(s for s in dated if s.kind == kind)) for n, kind in enumerate(order, start=1))


def by_nail(stage: PlanStage) -> bool:
    """Return whether a bone is lengthened by a nail inside it, without a frame."""
    return stage.device is not None and stage.device.stays


def finished(plan: Plan) -> tuple[PlanStage, ...]:
    """Return the stages that are done."""
    return tuple(stage for stage in plan.stages if stage.status == "done")


def name_of(kind: str, words: Wording, label: str = "") -> str:
    """Return the family's name of a kind of stage, else the label that the rules give it."""
    key = f"stages.{kind}.name"
    return words.say(key) if words.has(key) else label or kind.replace("_", " ")


def month_of(day: datetime.date, words: Wording) -> str:
    """Return month and year, as exact as a plan may be."""
    return words.say("month_year", month=words.items("months")[day.month - 1], year=day.year)


def age_of(years: float, words: Wording) -> str:
    """Return the age in completed years."""
    return words.say("age", years=int(years + 1e-3))


def cm(mm: float) -> str:
    """Return a length: `17.5 cm`."""
    return f"{round(mm / 10, 1) + 0.0:.1f} cm"


def signed(mm: float, words: Wording) -> str:
    """Return which leg is how much shorter at the end, in words: the treated leg shorter (positive) or longer."""
    if round(mm / 10, 1) == 0:
        return words.say("choices.equal")
    return words.say("growth.shorter" if mm > 0 else "growth.longer", cm=cm(abs(mm)))


def many(count: int, words: Wording) -> str:
    """Return a small number as a word, a greater one in figures."""
    names = words.items("numbers")
    return names[count] if count < len(names) else str(count)


def joined(parts: tuple[str, ...], words: Wording, last: str = "") -> str:
    """Return parts as a list in words: `a, b and c`, with another joint before the last where one is given."""
    joint = last or words.say("list_joint")
    return parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + joint + parts[-1]


def runs(kinds: tuple[str, ...]) -> tuple[tuple[str, int], ...]:
    """Return each kind with how often it comes, in order of first appearance."""
    return tuple((kind, len(tuple(group))) for kind, group in groupby(sorted(kinds, key=kinds.index)))


def sentence(text: str) -> str:
    """Return words with a great letter at their start."""
    return text[:1].upper() + text[1:]
