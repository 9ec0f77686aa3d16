"""What stands above the timeline: what is next, why, what it waits for, and the last day of what cannot be made up.

All of it from the plan as it is, in as few words as tell it; the screen and the verb `timeline` say the same.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby

from pathway.days import days_between, span_words, whole_months
from pathway.plan.model import CloseBecause, LastBy, Plan, PlanStage
from pathway.plan.other_reading import turns
from pathway.plan.waiting import may_wait_days
from pathway.protocol.words import lower_first
from pathway.questions.due import next_ones, steps_before
from pathway.questions.last_days import cannot_be_made_up, last_by, limits, usual_latest
from pathway.rule_engine.verdict import OPERATORS, Verdict
from pathway.views.pictures.picture import Role
from pathway.views.words import firmness
from pathway.views.words.children import next_stage
from pathway.views.words.done import last_done
from pathway.views.words.paragraphs import Paragraph
from pathway.views.words.plan import STATUS_MARKS, cm_words, road_mark
from pathway.views.words.waits import found_words, held_words, some, waits

NEXT, BECAUSE, WAITS, BEWARE = "NEXT   ", "BECAUSE", "WAITS  ", "BEWARE "
DONE = "DONE   "
GROUNDS, STEPS, LATEST = 2, 4, 2
"""So many are named; the others are counted, and stand in the text on the stage."""
LAST_DAY_WORDS: Mapping[LastBy, str] = {
    "growth": "its last day, cannot be made up",
    "rule_of_use": "its usual latest age",
    "limit": "its last day by the rules",
    "": "its last day",
}
LONGEST_MOVED = 70
"""Letters that the stages which move with a delay may take."""
PREDICTED = "predicted_discrepancy_at_maturity"
"""How the quantity is named on which operations for length rest."""
_COMPARED = re.compile(r" (?=(?:at least|more than|at most|less than) )")
_MOVES = re.compile(r"also delays (.+)\.$")
_ACROSS = "read on the other side of it, "


def strip(plan: Plan, *, brief: bool = False) -> tuple[Paragraph, ...]:
    """Return the paragraphs above the timeline; `brief` ones leave to the text on the stage what moves with a delay."""
    stage = next_stage(plan)
    told = (
        (NEXT, _next(plan, stage, brief=brief)),
        (BECAUSE, _because(plan, stage, brief=brief)),
        (WAITS, waits(plan, next_ones(plan), brief=brief)),
        (BEWARE, _beware(plan, brief=brief)),
    )
    return tuple(
        Paragraph(text, mark=mark, role=Role.LAST_DAY if text.startswith("!") else Role.TEXT)
        for mark, text in (*told, (DONE, "" if brief else last_done(plan)))
        if text
    )


def in_words(on: datetime.date, day: datetime.date) -> str:
    """Return how far away a day is: `today`, `in 28 days`, `in 2 y 10 m`, `28 days ago`."""
    days = days_between(on, day)
    if days <= 0:
        return "today" if days == 0 else f"{span_words(-days)} ago"
    if days < 61:
        return f"in {span_words(days)}"
    years, months = divmod(whole_months(on, day), 12)
    return "in " + " ".join(part for part in (f"{years} y" if years else "", f"{months} m" if months else "") if part)


def _next(plan: Plan, stage: PlanStage | None, *, brief: bool) -> str:
    """Say what comes next and when, how long it may wait and what moves then."""
    if stage is None or stage.date is None:
        return "Nothing has a date: no operation is planned as things stand."
    same = next_ones(plan)
    names = [_named(plan, one) for one in same]
    if brief and len(names) > GROUNDS:
        names = [names[0], f"{len(names) - 1} more"]
    words = f"{STATUS_MARKS[stage.status]} {_joined(names)}, {stage.date} ({in_words(plan.on, stage.date)})."
    before = _before(plan, stage, brief=brief)
    if not stage.operation:
        return f"{words}{before} No operation has a date: {no_operation_because(plan)}."
    held = [one for one in same if one.status == "blocked"]
    blocked = f" Blocked today: {held_words(held)}." if held else ""
    return f"{words}{blocked}{_wait(stage, brief=brief)}{before}"


def _before(plan: Plan, stage: PlanStage, *, brief: bool) -> str:
    """Say which visits and steps are due before the next operation, or besides what is next, each with its day."""
    due = steps_before(plan, stage)
    if not due:
        return ""
    most = STEPS - 3 * brief

    def when(one: PlanStage) -> str:
        return "today" if one.date is None or one.date <= plan.on else f"{one.date}"

    told = [f"{', '.join(_short(one, stage) for one in group)} ({day})" for day, group in groupby(due[:most], key=when)]
    more = f"; {len(due) - most} more" if len(due) > most else ""
    return f" {'Before it' if stage.operation else 'Besides'}: {'; '.join(told)}{more}."


def _short(one: PlanStage, before: PlanStage) -> str:
    """Return the name of a step without that of the operation it comes before, which has just been said."""
    return lower_first(one.label.removesuffix(f" before {lower_first(before.label)}"))


def _wait(stage: PlanStage, *, brief: bool) -> str:
    days = may_wait_days(stage)
    if stage.date is None or days is None:
        return ""
    moved = moved_words(stage, 0 if brief else LONGEST_MOVED)
    if days == 0:
        first = next((text for text in stage.delay if text.startswith("Any delay")), "It cannot wait.")
        words = f" Any delay also moves {moved}." if moved else f" {first}"
        return words if brief else f"{words}{_usual_age(stage)}"
    last = stage.date + datetime.timedelta(days=days)
    if stage.window is not None and stage.window.latest == last:
        return f" May wait {span_words(days)}, to {last}, {LAST_DAY_WORDS[last_by(stage)]}."
    if brief:
        return f" May wait {span_words(days)}, to {last}."
    longer = f"; a longer delay also moves {moved}" if moved else ""
    return f" May wait {span_words(days)}, to {last}{longer}.{_usual_age(stage)}"


def _usual_age(stage: PlanStage) -> str:
    """Say until when it is of use as a rule, where it may wait less than that."""
    if last_by(stage) != "rule_of_use" or stage.window is None:
        return ""
    return f" Usual latest age: {stage.window.latest}."


def moved_words(stage: PlanStage, longest: int = LONGEST_MOVED) -> str:
    """Return what a longer delay moves first, as the plan says it; that others move where the names would be long."""
    found = next((match.group(1) for text in stage.delay if (match := _MOVES.search(text))), "")
    return found if len(found) <= longest else "others"


def _named(plan: Plan, stage: PlanStage) -> str:
    amount = f" by {cm_words(stage.amount_mm)}" if stage.amount_mm is not None else ""
    return f"{stage.label}{amount}{road_mark(plan, stage)}"


def _because(plan: Plan, stage: PlanStage | None, *, brief: bool) -> str:
    """Say the values that the next operation rests on beside their thresholds, and what is to be read again first."""
    if stage is None or not stage.operation:
        return ""
    why = plan.firmness.why[0] if plan.firmness.close_call and plan.firmness.why else None
    grounds: dict[str, str] = {}
    for one in next_ones(plan):
        for leaf, decides in _grounds(one):
            id = str(leaf.finding or leaf.subject)
            repeat = " reaches across: repeat first" if decides and (why is None or why.id != id) else ""
            grounds.setdefault(id, f"{ground_words(leaf)}{repeat}")
    if why is not None and why.id in grounds:
        grounds = {why.id: grounds[why.id], **grounds}
    shown = dict(list(grounds.items())[:1]) if brief and why is not None and why.id in grounds else grounds
    said = "" if brief and why is not None and why.id not in grounds else some(list(shown.values()), GROUNDS, "; ")
    text = f"{said[:1].upper()}{said[1:]}." if said else ""
    return f"{text}{'' if why is None else ' ' + _close(plan, why, told=why.id in grounds)}".strip()


def _close(plan: Plan, why: CloseBecause, *, told: bool) -> str:
    """Say that the first operation is a close call, what to read again, and what another reading brings."""
    head = f"{firmness.MARK} {firmness.WORD[0].upper()}{firmness.WORD[1:]}"
    value, across, then = why.sentence.partition(_ACROSS)
    if not across:
        return f"{head}: {lower_first(why.sentence)}"
    again = plan.firmness.decide_on is not None and plan.firmness.decide_on.what == "finding"
    if told:
        return f"{head}{', repeat it first' if again else ''}: across the threshold {then}"
    leaf = next((leaf for leaf in _considered(plan) if why.id in (leaf.finding, leaf.subject)), None)
    what = lower_first(value.rstrip(": ")) if leaf is None else ground_words(leaf)
    return f"{head}{', repeat first' if again else ''}: {what}; across it {then}"


def _considered(plan: Plan) -> Iterator[Verdict]:
    for item in plan.considered:
        if item.reason.verdict is not None:
            yield from item.reason.verdict.leaves()


def _grounds(stage: PlanStage) -> Iterator[tuple[Verdict, bool]]:
    """Yield the comparisons that a stage rests on, each with whether its reading error would turn the ground.

    What says for whom a rule is (diagnosis, other stages) is no ground; numbers come first.
    """
    judged = [reason.verdict for reason in stage.because if not reason.against and reason.verdict is not None]
    found = [
        (leaf, len(judged) == 1 and _reaches(leaf) and turns(verdict, leaf))
        for verdict in judged
        for leaf in verdict.leaves()
        if leaf.state == "holds" and leaf.form in ("finding", "quantity") and leaf.comparison != "known"
    ]
    yield from sorted(found, key=lambda item: item[0].comparison not in OPERATORS)


def _reaches(leaf: Verdict) -> bool:
    """Return whether the error of a reading reaches across its threshold; a prediction is no reading."""
    return leaf.form == "finding" and leaf.sd is not None and abs(leaf.margin or 0.0) < leaf.sd


def ground_words(leaf: Verdict) -> str:
    """Return a value with its error beside its threshold: `centre-edge angle 18 ±4 deg (ground: at most 20 deg)`."""
    test = leaf.test.partition(" with a chance")[0]
    name, *bound = _COMPARED.split(test, maxsplit=1)
    if not bound or not isinstance(leaf.value, int | float):
        return found_words(leaf)
    unit = bound[0].rpartition(" ")[2]
    unit = "" if unit[:1].isdigit() else f" {unit}"
    value = f"{leaf.value:.0f}" if leaf.form == "quantity" else f"{leaf.value:g}"
    error = f" ±{leaf.sd:g}" if _reaches(leaf) else ""
    return f"{name} {value}{error}{unit} (ground: {bound[0]})"


def _beware(plan: Plan, *, brief: bool) -> str:
    """Say the last days of what cannot be made up, and until when others are of use as a rule; the two never mixed."""
    lost = cannot_be_made_up(plan)
    if lost:
        (day, stage), *more = lost
        head = f"! {stage.label}: last day {day}, {in_words(plan.on, day)}, cannot be made up"
        head += "".join(f"; {lower_first(one.label)}: {at}, cannot be made up either" for at, one in more)
    else:
        head = "Nothing to come has a day after which it cannot be made up"
    return f"{head}." if brief else f"{head}. {_usual(plan)}".strip()


def _usual(plan: Plan) -> str:
    """Say the usual latest ages, the soonest by name; without any, how long no other operation has a last day."""
    usual = [(day, stage) for day, stage in usual_latest(plan) if stage not in next_ones(plan)]
    if usual:
        named = [f"{lower_first(stage.label)} {day}" for day, stage in usual]
        return f"Usual latest age, a rule of use and no limit: {some(named, LATEST)}."
    ends = [day for day, stage in limits(plan) if stage not in next_ones(plan)]
    years = whole_months(plan.on, min(ends)) // 12 if ends else 0
    return f"No other operation has a last day within {years} {'year' if years == 1 else 'years'}." if years else ""


def no_operation_because(plan: Plan) -> str:
    """Return why no operation has a date: rules in conflict, the road, what is not known, what is predicted."""
    if plan.conflicts:
        return "the rules contradict each other for this child"
    if plan.roads is not None and plan.roads.stands == "prosthetic":
        return "the prosthetic road comes first, and its steps have usual ages, no dates"
    if plan.growth.at_maturity is None:
        return lower_first(plan.growth.basis.partition(". ")[0].rstrip("."))
    held = [stage for stage in plan.stages if stage.operation and stage.status == "blocked"]
    if held:
        return f"{lower_first(held[0].label)} is blocked, {held_words(held[:1])}"
    failing = [
        leaf
        for item in plan.considered
        if item.kind == "indication" and not (item.waived or item.optional) and item.reason.verdict is not None
        for leaf in item.reason.verdict.leaves()
        if leaf.state == "fails" and (leaf.subject or "").startswith(PREDICTED)
    ]
    return ground_words(failing[0]) if failing else "no rule asks for one as things stand"


def _joined(items: Sequence[str]) -> str:
    words = [items[0], *(lower_first(item) for item in items[1:])]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
