"""The statements of a screen with the rule behind each, so that any of them can be opened. No screen in here."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from pathway.plan.model import Course, Plan, PlanStage
from pathway.questions import why
from pathway.worksheets.sheet import Sheet


@dataclass(frozen=True, slots=True)
class Statement:
    """A sentence, the id of the rule or source behind it, its mark, and whether the rule is the clinic's own."""

    text: str
    rule: str
    mark: str = ""
    local: bool = False
    known: str = ""


def of_stage(plan: Plan, stage: PlanStage) -> tuple[Statement, ...]:
    """Return what the plan says of a stage: what it is, grounds, gates, order, limits."""
    return _once(_of_stage(plan, stage))


def _of_stage(plan: Plan, stage: PlanStage) -> Iterator[Statement]:
    yield Statement(f"{stage.label}: {stage.what}", stage.kind, local=why.is_local(plan, stage.kind))
    for reason in stage.because:
        mark = why.MARKS[reason.verdict.state] if reason.verdict else ""
        against = "Against it: " if reason.against else ""
        known = f"{why.PROVENANCE_WORDS[reason.provenance]}, {reason.strength.replace('_', ' ')}"
        yield Statement(f"{against}{reason.text}", reason.rule, mark, reason.local, known)
    for gate in stage.gates:
        known = f"{why.PROVENANCE_WORDS[gate.provenance]}, {gate.strength.replace('_', ' ')}"
        yield Statement(f"Gate: {gate.sentence}.", gate.id, why.MARKS[gate.state], gate.local, known)
    labels = {other.id: other.label for other in plan.stages}
    for edge in stage.after:
        label = labels.get(edge.stage, edge.stage)
        yield Statement(f"After {label}: {edge.because}", edge.rule, local=why.is_local(plan, edge.rule))
    for span in stage.spans:
        for reason in span.because:
            mark = why.MARKS[reason.verdict.state] if reason.verdict else ""
            text = f"{why.SPANNED[span.joint]} ({why.need_words(span)}): {reason.text}"
            yield Statement(text, reason.rule, mark, reason.local, why.PROVENANCE_WORDS[reason.provenance])
    for limit in stage.amount_limits:
        text = f"At most {limit.limit_mm:.0f} mm: {limit.words}"
        yield Statement(text, limit.rule, local=why.is_local(plan, limit.rule))


def of_plan(plan: Plan) -> tuple[Statement, ...]:
    """Return the types by published schemes and the cautions of a plan."""
    return _once(_of_plan(plan))


def _of_plan(plan: Plan) -> Iterator[Statement]:
    for item in plan.classification:
        yield Statement(f"{item.label}: {item.type} ({item.type_label})", item.system)
    for reason in plan.roads.because if plan.roads is not None else ():
        mark = why.MARKS[reason.verdict.state] if reason.verdict else ""
        known = f"{why.PROVENANCE_WORDS[reason.provenance]}, {reason.strength.replace('_', ' ')}"
        yield Statement(f"How the roads stand: {reason.text}", reason.rule, mark, reason.local, known)
    for refusal in plan.refused:
        known = why.PROVENANCE_WORDS[refusal.provenance]
        text = f"Not planned here: {refusal.label}. {refusal.because}"
        yield Statement(text, refusal.rule, local=why.is_local(plan, refusal.rule), known=known)
    for caution in plan.cautions:
        for source in caution.sources:
            yield Statement(caution.text, source, local=caution.local)


def of_course(plan: Plan, course: Course) -> tuple[Statement, ...]:
    """Return what stands behind a course: how it ends, why it is not first, the rules of its kinds of stage."""
    return _once(_of_course(plan, course))


def _of_course(plan: Plan, course: Course) -> Iterator[Statement]:
    yield Statement(f"Goal: legs within {'1 cm'}; accepted within 2 cm", "goal_band_mm")
    yield Statement("Months over 2.5 cm are counted", "burden_over_mm")
    yield Statement("An operation is what all is weighed in", "weigh_lengthening")
    yield Statement("A difference counts as a burden", "weigh_burden_a_year")
    yield Statement("Months with a device count as a burden", "weigh_frame_month")
    yield Statement("Lasting harm counts as a burden", "weigh_lasting_harm")
    yield Statement("Adult height lost counts as a burden", "weigh_height_lost")
    kinds = dict.fromkeys(stage.kind for stage in course.stages)
    for stage in plan.stages:
        if stage.kind in kinds:
            yield from _of_stage(plan, stage)


def of_sheet(sheet: Sheet) -> tuple[Statement, ...]:
    """Return the inputs, results and warnings of a worksheet, each with the rule or source that it rests on."""
    return _once(_of_sheet(sheet))


def _of_sheet(sheet: Sheet) -> Iterator[Statement]:
    for warning in sheet.warnings:
        for rule in (warning.rule, *warning.sources):
            if rule:
                yield Statement(warning.text, rule, "!")
    for item in sheet.inputs:
        for source in item.sources:
            yield Statement(f"Input: {item.label}", source, local=item.local)
    for section in sheet.sections:
        for line in section.lines:
            for source in line.sources:
                yield Statement(f"{line.label}{': ' + line.note if line.note else ''}", source)
        for table in section.tables:
            for source in table.sources:
                yield Statement(table.title, source)


def _once(found: Iterable[Statement]) -> tuple[Statement, ...]:
    return tuple(dict.fromkeys(found))
