"""What the drawings and the documents say alike: names of steps, days, ages, lengths, in the words of a language."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from itertools import groupby
from typing import Literal

from pathway.plan.beyond import levels_passed
from pathway.plan.model import OpenQuestion, Plan, PlanStage
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
    return words.month(day)


def age_of(years: float, words: Wording) -> str:
    """Return the age in completed years."""
    return words.age(years)


def cm(mm: float, words: Wording) -> str:
    """Return a length: `17.5 cm`."""
    return words.cm(mm)


def signed(mm: float, words: Wording) -> str:
    """Return which leg is how much shorter at the end, in words: the treated leg shorter (positive) or longer."""
    if round(mm / 10, 1) == 0:
        return words.say("choices.equal")
    return words.say("growth.shorter" if mm > 0 else "growth.longer", cm=cm(abs(mm), words))


def many(count: int, words: Wording) -> str:
    """Return a small number as a word, a greater one in figures."""
    return words.many(count)


def joined(parts: tuple[str, ...], words: Wording, joint: Literal["standard", "or"] = "standard") -> str:
    """Return parts as a list in words: `a, b and c`, with the joint `or`: `a, b or c`."""
    return words.joined(parts, joint)


def caution_of(plan: Plan, words: Wording) -> str:
    """Return the standing caution in the language of the page."""
    head = plan.cautions[0]
    return words.of_rule("cautions", head.id, head.text)


def what_of(stage: PlanStage, words: Wording) -> str:
    """Return what is done in a stage: with a nail inside the bone in the words of that device."""
    if stage.device is not None and stage.device.stays:
        return words.of_rule("devices", stage.device.id, stage.family_words)
    return words.of_rule("stages", stage.kind, stage.family_words)


def kind_of(stage: str) -> str:
    """Return the kind of a stage by its id: `femoral_lengthening` of `femoral_lengthening_2`."""
    return stage.rstrip("0123456789").rstrip("_")


def question_of(question: OpenQuestion, words: Wording) -> str:
    """Return what an open question asks for, from "how" or "whether" on."""
    return words.of_rule("findings", question.finding, question.family_words)


def beyond_of(stage: PlanStage, words: Wording) -> tuple[str, ...]:
    """Return what was seen above each caution level that a stage lies beyond, each sentence once."""
    told = (
        words.of_rule("limits", note.rule, note.family_words)
        if note.family_words
        else words.say("steps.own_limit", limit=words.cm(note.limit_mm))
        for note in levels_passed(stage)
    )
    return tuple(dict.fromkeys(told))


def runs(kinds: tuple[str, ...]) -> tuple[tuple[str, int], ...]:
    """Return each kind with how often it comes, in order of first appearance."""
    return tuple((kind, len(tuple(group))) for kind, group in groupby(sorted(kinds, key=kinds.index)))


def sentence(text: str) -> str:
    """Return words with a great letter at their start."""
    return text[:1].upper() + text[1:]
