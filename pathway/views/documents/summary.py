"""The team's document: the plan on one page for the file."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from pathway.days import age_on, age_words
from pathway.plan.model import Plan, PlanStage
from pathway.views.documents.document import Block, Bullets, Callout, Document, Heading, Paragraph, Table
from pathway.views.words import roads
from pathway.views.words.caution import is_invented
from pathway.views.words.done import operations_done
from pathway.views.words.expected import short_words
from pathway.views.words.harms import HEADING, NOTE, harm_lines
from pathway.views.words.plan import (
    PROSTHETIC_HEADING,
    amount_words,
    cm_words,
    range_words,
    road_mark,
    state_words,
)

SHOWN_COURSES = 2
DRAWN = "drawn"
"""The state of a stage of the lengthening road where that road is not the one chosen."""
YES_NO: dict[object, str] = {True: "yes", False: "no"}


AcceptedStage = tuple[str, datetime.date | None, float | None]


@dataclass(frozen=True, slots=True)
class AcceptedPlan:
    """The plan that was accepted last: its number, by whom and when, its day and rules, and its stages.

    `stages` are the id, day and amount (mm) of each, as they were accepted. `registry_head` says in short where the
    registry stood when this was read, "" where that is not known.
    """

    number: int
    by: str
    at: datetime.datetime
    on: datetime.date
    protocol_version: str
    stages: tuple[AcceptedStage, ...]
    registry_head: str = ""


def summary(
    plan: Plan,
    names: Mapping[str, str] | None = None,
    accepted: AcceptedPlan | None = None,
    *,
    kept: bool = False,
    family: Sequence[tuple[str, str]] = (),
) -> Document:
    """Return the team's document of a plan, in English: for the file, not for the family.

    `names` are the labels of the findings. `kept`: the child comes from the registry, so that the page says which
    plan was `accepted`, or that none was. `family`: what the family reads on its first page, label and text.
    """
    child = plan.child
    subtitle = f"{child.sex}, {age_on(child.date_of_birth, plan.on)}, {child.diagnosis_label}, {child.affected_side}"
    blocks = tuple(_blocks(plan, names or {}, _revision(plan, accepted) if kept else "", family))
    footer = f"{child.id} · {plan.on} · {plan.protocol.name} {plan.protocol.version}"
    return Document(f"Plan of {child.id} on {plan.on}", subtitle, "en", footer, blocks, dense=True)


def _revision(plan: Plan, accepted: AcceptedPlan | None) -> str:
    if accepted is None:
        return "No plan for this child has been accepted yet."
    head = f" Registry head {accepted.registry_head}" if accepted.registry_head else ""
    return (
        f"Accepted: revision {accepted.number}, by {accepted.by} on {accepted.at:%Y-%m-%d %H:%M} UTC, "
        f"planned as of {accepted.on} with version {accepted.protocol_version}. {_since(plan, accepted)}{head}"
    )


def _since(plan: Plan, accepted: AcceptedPlan) -> str:
    """Return what became of the accepted plan: days of what is ready move on by themselves, stages do not."""
    if [(id, amount) for id, _, amount in accepted.stages] != [(one.id, one.amount_mm) for one in plan.stages]:
        return "The plan below has different stages or amounts, which nobody has accepted yet."
    days = [(then, now.date) for (_, then, _), now in zip(accepted.stages, plan.stages, strict=True)]
    moved = [abs((now - then).days) for then, now in days if then is not None and now is not None and now != then]
    if any((then is None) != (now is None) for then, now in days):
        return "The plan below has the same stages and amounts, but other stages now have dates."
    if not moved:
        return "The plan below is the same."
    count = "one date" if len(moved) == 1 else f"{len(moved)} dates"
    return f"The plan below has the same stages and amounts; {count} moved, by {max(moved)} days at most."


def _blocks(plan: Plan, names: Mapping[str, str], revision: str, family: Sequence[tuple[str, str]]) -> Iterator[Block]:
    protocol = plan.protocol
    own = f"; local rules: {', '.join(protocol.local_rules)}" if protocol.local_rules else ""
    off = f"; switched off: {', '.join(item.id for item in protocol.switched_off)}" if protocol.switched_off else ""
    yield Paragraph(f"{protocol.name}, version {protocol.version}{own}{off}.", "small")
    if revision:
        yield Paragraph(revision)
    invented = ("This child is invented: an example, no real patient.",) if is_invented(plan.child.note) else ()
    yield Callout("", (" ".join((plan.cautions[0].text, *invented)),))
    if plan.notices:
        yield Bullets(tuple(f"Notice: {text}" for text in plan.notices), small=True)
    yield Heading("Findings and classification")
    yield Bullets(tuple(_findings(plan, names)), small=True)
    yield Heading("Plan")
    shown = roads.other_stages(plan)
    loose = [_loose(plan, stage) for stage in shown if stage.status == "optional"]
    rows = tuple(_row(plan, stage) for stage in shown if stage.status != "optional")
    head = ("stage", "state", "date", "age", "amount", "allowed")
    if any(row[1].startswith(DRAWN) for row in rows):
        yield Paragraph(f"State “{DRAWN}”: of the lengthening road, which is not chosen.", "small")
    yield Table("Stages of the plan", head, rows, (38, 9, 11, 8, 21, 22))
    if told := operations_done(plan):
        yield Paragraph(f"Done: {'; '.join(told)}.", "small")
    if loose:
        yield Paragraph(f"Optional, without a date: {'; '.join(loose)}.")
    yield from _roads(plan)
    if plan.refused:
        yield Heading("Not planned here")
        yield Bullets(roads.not_planned(plan), small=True)
    gates = tuple(_gates(plan))
    if gates:
        yield Heading("Conditions not yet met")
        yield Bullets(gates, small=True)
    if plan.conflicts:
        yield Heading("Rules in conflict")
        yield Bullets(tuple(item.explanation for item in plan.conflicts), small=True)
    if told := tuple(harm_lines(plan)):
        yield Heading(HEADING)
        yield Paragraph(NOTE, "small")
        yield Bullets(told, small=True)
    if plan.open_questions:
        yield Heading("Measure first")
        yield Bullets(tuple(_question(plan)), small=True)
    if plan.alternatives:
        yield Heading("Alternatives considered")
        yield Bullets(tuple(_courses(plan)), small=True)
    if family:
        yield Heading("What the family reads first")
        yield Bullets(tuple(f"{label}: {text}" for label, text in family), small=True)
    yield Heading("Sources")
    planned = [stage for stage in plan.stages if stage.status != "optional"]
    cited = {id for stage in planned for id in stage.sources}
    cited |= {id for stage in planned for reason in stage.because for id in reason.sources}
    cited |= {id for reason in plan.roads.because for id in reason.sources} if plan.roads is not None else set()
    cited |= {id for item in plan.refused for id in item.sources}
    cited |= {id for stage in planned for gate in stage.gates if gate.state != "holds" for id in gate.sources}
    yield Paragraph("; ".join(_short(line.citation) for line in plan.sources if line.id in cited) + ".", "small")


def _roads(plan: Plan) -> Iterator[Block]:
    """Yield how the roads stand with the grounds, and the prosthetic road in its order with its usual ages."""
    known = plan.roads
    lines = [] if known is None else [" ".join((known.sentence, *(item.text for item in known.because)))]
    steps = [f"{stage.label} ({_usual(plan, stage)})" for stage in roads.prosthetic_stages(plan)]
    if steps:
        lines.append(f"{PROSTHETIC_HEADING}, with usual ages and no dates: {'; '.join(steps)}.")
    if lines:
        yield Heading("Roads")
        yield Bullets(tuple(lines), small=True)


def _usual(plan: Plan, stage: PlanStage) -> str:
    ages = "past its usual age" if stage.past_usual is not None else roads.span_words(plan, stage, short=True)
    state = state_words(stage)
    return ", ".join(part for part in (ages, "" if state == "optional" else state) if part)


def _loose(plan: Plan, stage: PlanStage) -> str:
    return f"{stage.label}{' (likely)' if stage.likely else ''}{road_mark(plan, stage)}"


def _short(citation: str) -> str:
    return citation.rstrip(".")


def _findings(plan: Plan, names: Mapping[str, str]) -> Iterator[str]:
    growth = plan.growth
    measured = [f"{cm_words(p.discrepancy_mm)} on {p.date}" for p in growth.measured[-3:]]
    if measured:
        yield f"Leg difference: {', '.join(measured)}"
    if growth.at_maturity is not None:
        text = f"At maturity ({age_words(growth.mature_age_years)}) without operation: "
        yield text + range_words(growth.at_maturity.discrepancy_mm)
    if plan.child.affected_side == "both":
        yield growth.basis
        yield from growth.notes
    for item in plan.classification:
        yield f"{item.label}: {item.type} ({item.type_label})"
    yield from _judged(plan, names)


def _judged(plan: Plan, names: Mapping[str, str]) -> tuple[str, ...]:
    """Return the measured findings that gates and reasons were judged by, each once, by day."""
    trees = [gate.verdict for stage in plan.stages for gate in stage.gates]
    trees += [r.verdict for stage in plan.stages for r in stage.because if r.verdict is not None]
    seen: dict[str, tuple[str, str]] = {}
    for leaf in (leaf for tree in trees for leaf in tree.leaves()):
        if leaf.finding is not None and leaf.measured_on is not None and leaf.subject is None:
            value = f"{leaf.value:g}" if isinstance(leaf.value, float) else YES_NO.get(leaf.value, str(leaf.value))
            name, unit = _named(leaf.finding)
            name = names.get(leaf.finding, name).split(",")[0]
            seen.setdefault(leaf.finding, (str(leaf.measured_on), f"{name} {value.replace('_', ' ')}{unit}"))
    days = sorted({day for day, _ in seen.values()}, reverse=True)
    return tuple(f"Assessed on {day}: {', '.join(text for on, text in seen.values() if on == day)}" for day in days)


def _named(finding: str) -> tuple[str, str]:
    for ending, unit in (("_mm", " mm"), ("_deg", " deg"), ("_years", " years"), ("_percent", " %")):
        if finding.endswith(ending):
            return finding.removesuffix(ending).replace("_", " "), unit
    return finding.replace("_", " "), ""


def _row(plan: Plan, stage: PlanStage) -> tuple[str, ...]:
    local = " (local)" if stage.kind in plan.protocol.local_rules else ""
    allowed = ""
    if stage.window is not None and stage.operation and stage.status != "done":
        latest = f"to {stage.window.latest}" if stage.window.latest else "on"
        allowed = f"{stage.window.earliest} {latest}"
    age = "" if stage.date is None else age_on(plan.child.date_of_birth, stage.date)
    date = "" if stage.date is None else str(stage.date)
    state = DRAWN if roads.of_lengthening(plan, stage) else state_words(stage)
    late = ", late" if roads.late_words(plan, stage) else ""
    return (
        f"{stage.label}{local}",
        f"{state}{late}",
        date,
        age,
        amount_words(stage),
        allowed,
    )


def _gates(plan: Plan) -> Iterator[str]:
    for stage in plan.stages:
        said = []
        for gate in stage.gates if stage.status != "optional" else ():
            if gate.state in ("fails", "unknown", "waived"):
                said.append(gate.sentence + (f" ({gate.waived_because})" if gate.waived_because else ""))
        if said:
            yield f"{stage.label}: {'. '.join(said)}"


def _question(plan: Plan) -> Iterator[str]:
    for question in plan.open_questions:
        by = "" if question.by is None else f", by {question.by}"
        yield f"{question.label} ({question.how}); needed for {', '.join(question.needed_for)}{by}"


def _courses(plan: Plan) -> Iterator[str]:
    for course in plan.alternatives[:SHOWN_COURSES]:
        text = course.summary
        if course.residual_mm is not None and (told := short_words(course)):
            text += f": {told}"
        if course.lost_because:
            text += f"; not first: {course.lost_because}"
        first = roads.first_words(plan, course)
        yield f"{text}; {first}" if first else text
    if len(plan.alternatives) > SHOWN_COURSES:
        yield f"and {len(plan.alternatives) - SHOWN_COURSES} more"
