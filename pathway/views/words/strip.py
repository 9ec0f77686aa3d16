"""What stands above the timeline: what is next, why, what it waits for, and the last day of what cannot be made up.

All of it from the plan as it is, in as few words as tell it; the screen and the verb `timeline` say the same.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Sequence
from itertools import groupby

from pathway.days import days_between, span_words, whole_months
from pathway.plan.model import CloseBecause, GateState, OpenQuestion, Plan, PlanStage
from pathway.plan.other_reading import turns
from pathway.protocol.words import lower_first
from pathway.rule_engine.verdict import OPERATORS, Verdict
from pathway.views.pictures.picture import Role
from pathway.views.words import firmness
from pathway.views.words.children import next_stage
from pathway.views.words.done import last_done
from pathway.views.words.paragraphs import Paragraph
from pathway.views.words.plan import STATUS_MARKS, cm_words, road_mark

NEXT, BECAUSE, WAITS, BEWARE = "NEXT   ", "BECAUSE", "WAITS  ", "BEWARE "
DONE = "DONE   "
GROUNDS, FINDINGS = 2, 3
"""So many are named; the others are counted, and stand in the text on the stage."""
LONGEST_MOVED = 70
"""Letters that the stages which move with a delay may take."""
_COMPARED = re.compile(r" (?=(?:at least|more than|at most|less than) )")
_MOVES = re.compile(r"also delays (.+)\.$")
_ACROSS = "read on the other side of it, "


def strip(plan: Plan, *, brief: bool = False) -> tuple[Paragraph, ...]:
    """Return the paragraphs above the timeline; `brief` ones leave to the text on the stage what moves with a delay."""
    stage = next_stage(plan)
    told = (
        (NEXT, _next(plan, stage, brief=brief)),
        (BECAUSE, _because(plan, stage, brief=brief)),
        (WAITS, _waits(plan, brief=brief)),
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
    same = _of_that_day(plan, stage)
    names = [_named(plan, one) for one in same]
    words = f"{STATUS_MARKS[stage.status]} {_joined(names)}, {stage.date} ({in_words(plan.on, stage.date)})."
    if not stage.operation:
        return f"{words} No operation has a date."
    blocked = " Blocked today." if any(one.status == "blocked" for one in same) else ""
    return f"{words}{blocked}{_wait(stage, brief=brief)}"


def _wait(stage: PlanStage, *, brief: bool) -> str:
    days = stage.free_slack_days if stage.free_slack_days is not None else stage.slack_days
    if stage.date is None or days is None:
        return ""
    moved = moved_words(stage, 0 if brief else LONGEST_MOVED)
    if days == 0:
        return f" Any delay also moves {moved}." if moved else " It cannot wait."
    last = stage.date + datetime.timedelta(days=days)
    if stage.window is not None and stage.window.latest == last:
        return f" May wait {span_words(days)}, to {last}, its last day."
    return f" May wait {span_words(days)}, to {last}{f'; a longer delay also moves {moved}' if moved else ''}."


def moved_words(stage: PlanStage, longest: int = LONGEST_MOVED) -> str:
    """Return what a longer delay moves first, as the plan says it; that others move where the names would be long."""
    found = next((match.group(1) for text in stage.delay if (match := _MOVES.search(text))), "")
    return found if len(found) <= longest else "others"


def _of_that_day(plan: Plan, stage: PlanStage) -> list[PlanStage]:
    if not stage.operation:
        return [stage]
    others = [s for s in plan.stages if s.operation and not s.begun and s.date == stage.date and s is not stage]
    return [stage, *others]


def _named(plan: Plan, stage: PlanStage) -> str:
    amount = f" by {cm_words(stage.amount_mm)}" if stage.amount_mm is not None else ""
    return f"{stage.label}{amount}{road_mark(plan, stage)}"


def _because(plan: Plan, stage: PlanStage | None, *, brief: bool) -> str:
    """Say the values that the next operation rests on beside their thresholds, and what is to be read again first."""
    if stage is None or not stage.operation:
        return ""
    why = plan.firmness.why[0] if plan.firmness.close_call and plan.firmness.why else None
    grounds: dict[str, str] = {}
    for one in _of_that_day(plan, stage):
        for leaf, decides in _grounds(one):
            id = str(leaf.finding or leaf.subject)
            repeat = " reaches across: repeat first" if decides and (why is None or why.id != id) else ""
            grounds.setdefault(id, f"{ground_words(leaf)}{repeat}")
    if why is not None and why.id in grounds:
        grounds = {why.id: grounds[why.id], **grounds}
    shown = dict(list(grounds.items())[:1]) if brief and why is not None and why.id in grounds else grounds
    said = "" if brief and why is not None and why.id not in grounds else _some(list(shown.values()), GROUNDS, "; ")
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


def found_words(leaf: Verdict) -> str:
    """Return what was found without its day: `knee instability severe`."""
    return leaf.sentence if leaf.measured_on is None else leaf.sentence.partition(f" on {leaf.measured_on}")[0]


def _waits(plan: Plan, *, brief: bool) -> str:
    """Say what is not known and by when it is needed, and which conditions fail today."""
    shown = plan.open_questions[: FINDINGS - brief]
    dated = [(when, _some([_asked(one) for one in some], FINDINGS)) for when, some in _by_day(plan, shown)]
    more = len(plan.open_questions) - len(shown)
    named = "; ".join(f"{labels} ({when})" if when else labels for when, labels in dated)
    unknown = f"Not known: {named}{f'; and {more} more' if more else ''}." if named else "Nothing asked for is unknown."
    return f"{unknown} {_fails(plan, brief=brief)}"


def _by_day(plan: Plan, questions: Sequence[OpenQuestion]) -> Iterator[tuple[str, list[OpenQuestion]]]:
    def when(one: OpenQuestion) -> str:
        return "" if one.by is None else "today" if one.by <= plan.on else f"by {one.by}"

    for day, some in groupby(questions, key=when):
        yield day, list(some)


def _asked(question: OpenQuestion) -> str:
    return f"{question.label} of the {question.side} leg" if question.side else question.label


def _fails(plan: Plan, *, brief: bool) -> str:
    failing = list(_failing_gates(plan))
    if not failing:
        return "No condition fails."
    open_ = [(stage, gate) for stage, gate in failing if gate.mended_by is None]
    mended = len(failing) - len(open_)
    parts = []
    if open_:
        names = [f"{_unmet(gate)} before {lower_first(stage.label)}" for stage, gate in open_]
        parts.append(f"Not met, and no step mends it: {_some(names, GROUNDS - brief, '; ')}.")
    if mended:
        count = "1 condition fails" if mended == 1 else f"{mended} conditions fail"
        parts.append(f"{count} today{'' if brief else ': planned steps are to mend that first'}.")
    return " ".join(parts)


def _failing_gates(plan: Plan) -> Iterator[tuple[PlanStage, GateState]]:
    for stage in plan.stages:
        if not stage.begun and stage.road != "prosthetic":
            yield from ((stage, gate) for gate in stage.gates if gate.state == "fails")


def _unmet(gate: GateState) -> str:
    leaf = next((leaf for leaf in gate.verdict.leaves() if leaf.state == "fails"), gate.verdict)
    return found_words(leaf)


def _beware(plan: Plan, *, brief: bool) -> str:
    """Say the earliest last day, that of what cannot be made up, and how long no other operation has one."""
    last = [
        (stage.window.latest, stage)
        for stage in plan.stages
        if stage.operation and not stage.begun and stage.date is not None and stage.window and stage.window.latest
    ]
    last.sort(key=lambda item: (item[0], not item[1].physes, item[1].id))
    if not last:
        return "No operation to come has a last day."
    lost = next((item for item in last if item[1].physes), None)
    first = last[0]
    named = [first] if lost is None or lost is first else [first, lost]
    (day, stage), *then = named
    words = f"! {stage.label}: last day {day}, {in_words(plan.on, day)}{_lost(stage)}"
    words += "".join(f"; {lower_first(one.label)}: {at}{_lost(one)}" for at, one in then)
    if brief and then:
        return f"{words}."
    return f"{words}. {_others(plan, named[-1][0], [item for item in last if item not in named])}"


def _lost(stage: PlanStage) -> str:
    """Say of what works by growth that a missed day is lost."""
    return ", cannot be made up" if stage.physes else ""


def _others(plan: Plan, after: datetime.date, others: Sequence[tuple[datetime.date, PlanStage]]) -> str:
    """Say that no other operation has a last day for so many years, or which has the next."""
    if not others:
        return "No other operation has one."
    day, stage = others[0]
    years = whole_months(plan.on, day) // 12
    if day > after and years >= 1:
        return f"No other operation has one within {years} {'year' if years == 1 else 'years'}."
    return f"Next: {lower_first(stage.label)}, {day}."


def _some(items: Sequence[str], most: int, separator: str = ", ") -> str:
    """Return the first items joined, the others counted."""
    more = len(items) - most
    return separator.join(items[:most]) + (f"{separator}{more} more" if more > 0 else "")


def _joined(items: Sequence[str]) -> str:
    words = [items[0], *(lower_first(item) for item in items[1:])]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
