"""What the panes say, as plain lines: at an age, of a stage, of the child. No screen in here."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pathway.days import age_on, age_words, day_at_age
from pathway.plan.beyond import stage_words
from pathway.plan.model import GATE_WORDS, GateState, Plan, PlanStage
from pathway.protocol.aids import aids_by_difference
from pathway.protocol.roles import with_role
from pathway.protocol.words import lower_first
from pathway.questions import why
from pathway.views.pictures.curve import cm, curve
from pathway.views.pictures.picture import Role, stage_role
from pathway.views.words import firmness, roads
from pathway.views.words.carried_out import carried_out_words
from pathway.views.words.done import done_lines
from pathway.views.words.expected import short_words
from pathway.views.words.harms import HEADING, NOTE, harm_words
from pathway.views.words.plan import STATUS_MARKS, amount_words, state_words, when_words
from pathway.views.words.sides import side_words, spread_in_words

if TYPE_CHECKING:
    from pathway.protocol.model import Protocol

MARK_ROLES = {
    "+": Role.STAGE_DONE,
    "-": Role.STAGE_BLOCKED,
    "?": Role.STAGE_READY,
    "~": Role.STAGE_OPTIONAL,
    ">": Role.STAGE_LATER,
}


@dataclass(frozen=True, slots=True)
class Paragraph:
    """One paragraph: its text, how deep it hangs, what it means, whether it is a heading, its mark.

    A `fixed` one is not wrapped; `widest` is the longest line wished for (0: the width there is).
    """

    text: str
    depth: int = 0
    role: Role = Role.TEXT
    heading: bool = False
    mark: str = ""
    fixed: bool = False
    widest: int = 0


@dataclass(frozen=True, slots=True)
class Aid:
    """A walking aid and the differences in mm for which the protocol wants it (from, below)."""

    label: str
    from_mm: float
    below_mm: float


@dataclass(frozen=True, slots=True)
class Aids:
    """The protocol's rules on walking aids: a lift is `less_mm` below the difference, from `lift_from_mm` on."""

    kinds: tuple[Aid, ...]
    lift_from_mm: float
    less_mm: float
    lift: str

    def words(self, difference_mm: float) -> str:
        """Return what a difference in mm asks for."""
        if difference_mm < self.lift_from_mm:
            return f"no lift (from {cm(self.lift_from_mm)} on)"
        for aid in self.kinds:
            if aid.from_mm <= difference_mm < aid.below_mm:
                if aid.label == self.lift:
                    return f"{aid.label.lower()} of about {cm(difference_mm - self.less_mm)}"
                return aid.label.lower()
        return "no rule for this difference"


def aids(protocol: Protocol) -> Aids:
    """Return the protocol's rules on walking aids; raises KeyError where a value is missing."""
    return Aids(
        tuple(Aid(*aid) for aid in aids_by_difference(protocol)),
        protocol.number("lift_from_mm"),
        protocol.number("lift_less_than_difference_mm"),
        _lift(protocol),
    )


def _lift(protocol: Protocol) -> str:
    """Return what the plainest thing is called that evens the legs: the first of its role."""
    return next((stage.label for stage in with_role("height_compensation", protocol)), "")


def at_age(plan: Plan, age: float, rules: Aids | None) -> Iterator[Paragraph]:
    """Yield what is known and expected at an age in years."""
    day = day_at_age(plan.child.date_of_birth, age)
    today = " (today)" if abs(age - plan.child.age_years) < 0.5 / 12 else ""
    yield Paragraph(f"At {age_words(age)}, {day}{today}", heading=True)
    line = curve(plan)
    before = [point for point in plan.growth.measured if point.age_years <= age + 0.01]
    if line is None or age < line.points[0].age_years - 0.5 / 12:
        if before:
            yield Paragraph(f"Last measured {side_words(before[-1].discrepancy_mm)} on {before[-1].date}")
        elif line is None:
            yield Paragraph("Difference not known: no leg length was measured")
        else:
            yield Paragraph("Nothing measured up to this age")
        return
    last = line.points[-1].age_years
    natural, with_plan = line.natural(min(age, last)), line.with_plan(min(age, last))
    yield Paragraph(f"With the plan {spread_in_words(with_plan)}", role=Role.MEDIAN)
    yield Paragraph(f"No operations {spread_in_words(natural)}", role=Role.MEDIAN_NATURAL)
    if rules is not None:
        yield Paragraph(f"Aid: {rules.words(with_plan.p50)}")


def brackets(plan: Plan) -> Iterator[Paragraph]:
    """Yield what the numbers in brackets of `at_age` mean, where there are any."""
    if curve(plan) is not None:
        yield Paragraph("In brackets: 90 of 100 children like this one, amounts kept as planned", role=Role.LEGEND)


def of_stage(plan: Plan, stage: PlanStage) -> Iterator[Paragraph]:
    """Yield the selected stage in a few lines: status, date, window, amount, open gates."""
    mark = STATUS_MARKS[stage.status]
    yield Paragraph(f"{mark} {stage.label}", role=stage_role(stage.status), heading=True)
    if stage.road == "prosthetic" and not stage.begun:
        yield Paragraph(f"{when_words(plan, stage)}; no date: family and team decide")
    else:
        yield Paragraph(f"{state_words(stage)}, {_when(plan, stage)}")
    yield from (Paragraph(text, role=Role.STAGE_READY) for text in firmness.of_stage(plan, stage))
    if roads.of_lengthening(plan, stage):
        yield Paragraph("Of the lengthening road: drawn, not chosen")
    if late := roads.late_words(plan, stage):
        yield Paragraph(f"{late[0].upper()}{late[1:]}")
    if stage.window is not None and stage.date is not None and not stage.begun:
        latest = f"to {stage.window.latest}" if stage.window.latest else "on, no latest day"
        yield Paragraph(f"Allowed from {stage.window.earliest} {latest}")
    amount = amount_words(stage)
    if amount and (stage.recorded is None or stage.recorded.achieved_mm is None):
        yield Paragraph(f"Amount {amount}")
    yield from (Paragraph(text) for text in done_lines(stage))
    yield from (Paragraph(text) for text in stage_words(stage))
    if stage.gates:
        yield gate_count(stage)
    yield from _marks(stage)
    for sentence in stage.delay:
        yield Paragraph(sentence, role=Role.LEGEND)


def _marks(stage: PlanStage) -> Iterator[Paragraph]:
    """Say when a stage rests on a clinic's own rules or on rules recalled from memory."""
    rules = [(item.local, item.provenance) for item in stage.because]
    rules += [(gate.local, gate.provenance) for gate in stage.gates]
    if any(local for local, _ in rules):
        yield Paragraph("Based on rules of this clinic (local)")
    if any(provenance == "memory" for _, provenance in rules):
        yield Paragraph("Based on rules from memory: check before use")


def _when(plan: Plan, stage: PlanStage) -> str:
    if stage.date is None:
        return "no date yet"
    age = f", at {age_on(plan.child.date_of_birth, stage.date)}"
    months = stage.duration_months
    lasts = f", {months:.0f} {'month' if round(months) == 1 else 'months'}" if months else ""
    return f"{stage.date}{age}{lasts}"


def gate_count(stage: PlanStage) -> Paragraph:
    """Return how many of a stage's gates hold, and what the others do, in one line."""
    states = [gate.state for gate in stage.gates]
    counts = [f"{states.count(state)} {words}" for state, words in GATE_WORDS.items() if state in states]
    return Paragraph(f"{len(states)} {'gate' if len(states) == 1 else 'gates'}: {', '.join(counts)}")


def of_child(plan: Plan) -> Iterator[Paragraph]:
    """Yield what the wide pane adds: classification, the course, what to measure first."""
    for item in plan.classification:
        yield Paragraph(f"{item.label}: {item.type} ({item.type_label})")
    if plan.child.affected_side == "both":
        yield from (Paragraph(note) for note in plan.growth.notes)
    yield from of_roads(plan)
    course = plan.recommended
    if course is not None:
        yield Paragraph("Course", heading=True)
        yield Paragraph(f"{course.summary} ({roads.first_words(plan, course)})")
    if course is not None and course.residual_mm is not None and (told := short_words(course)):
        yield Paragraph(f"{told[0].upper()}{told[1:]}")
    if plan.firmness.sentence:
        yield Paragraph("Close call", heading=True)
        yield Paragraph(plan.firmness.sentence)
    if plan.refused:
        yield Paragraph("Not planned here", heading=True)
    yield from (Paragraph(text) for text in roads.not_planned(plan))
    if plan.open_questions:
        yield Paragraph("Measure first", heading=True)
    for question in plan.open_questions:
        by = f", by {question.by}" if question.by else ""
        yield Paragraph(f"{question.label}{by}")


def of_roads(plan: Plan) -> Iterator[Paragraph]:
    """Yield how the roads stand with the grounds, and the prosthetic road in its usual order."""
    if plan.roads is None:
        return
    yield Paragraph("Roads", heading=True)
    yield Paragraph(plan.roads.sentence)
    yield from (Paragraph(item.text, depth=1) for item in plan.roads.because)
    for stage in roads.prosthetic_stages(plan):
        yield Paragraph(f"{stage.label}: {roads.usual_words(plan, stage)}", depth=1)


def conflicts(plan: Plan) -> tuple[str, ...]:
    """Return the sentences that say which rules contradict each other for this child."""
    return tuple(f"Cannot be planned as the rules stand: {item.explanation}" for item in plan.conflicts)


def of_edit(before: Plan | None, told: Sequence[str], plan: Plan) -> tuple[str, ...]:
    """Return what the last edit made of the plan before it, the edit's sentence first; nothing where none was made."""
    if before is None or not told:
        return ()
    from pathway.questions.what_if import differences

    head = told[0].removesuffix(" …").rstrip(".")
    done = tuple(carried_out_words(before, plan))
    said = [f"{head}.", *done]
    # Of an operation that was done the numbers before and after are of different children: what is left is told.
    if not done and (before.recommended, before.alternatives) != (plan.recommended, plan.alternatives):
        said += differences(before, plan)
    old, new = {s.id: s.label for s in before.stages}, {s.id: s.label for s in plan.stages}
    for words, some in (
        ("Added", [new[k] for k in new if k not in old]),
        ("Removed", [old[k] for k in old if k not in new]),
    ):
        if some:
            said.append(f"{words}: {', '.join(some)}.")
    return (*said, *plan.notices)


def of_gates(stage: PlanStage) -> Iterator[Paragraph]:
    """Yield the gates of a stage, those that do not hold first."""
    order = ("fails", "unknown", "waived", "later", "holds")
    yield Paragraph(f"Conditions to be met before {lower_first(stage.label)}", heading=True)
    if not stage.gates:
        yield Paragraph("The protocol has no gate for this stage.")
    for gate in sorted(stage.gates, key=lambda gate: order.index(gate.state)):
        yield Paragraph(_gate_words(gate), mark=why.MARKS[gate.state])


def of_unlock(plan: Plan, stage: PlanStage, rules: Protocol) -> Iterator[Paragraph]:
    """Yield what would unlock a stage, or change it: the smallest changes, and what to measure first."""
    from pathway.questions.why_changes import changes

    yield Paragraph(f"What would unlock {lower_first(stage.label)}", heading=True)
    held = [gate for gate in stage.gates if gate.state in ("fails", "unknown")]
    for gate in held:
        mended = f" To be corrected by {gate.mended_by.replace('_', ' ')}." if gate.mended_by else ""
        yield Paragraph(f"{gate.requires}.{mended}", mark=why.MARKS[gate.state])
    if not held:
        yield Paragraph("Nothing known is holding it up.")
    for line in changes(plan, stage, rules):
        yield Paragraph(line.text, max(0, line.depth - 1), heading=line.depth == 0, mark=why.MARKS.get(line.state, ""))


def _gate_words(gate: GateState) -> str:
    again = f" To be measured again from {gate.look_again_on}." if gate.look_again_on is not None else ""
    local = " [local]" if gate.local else ""
    origin = f" [{why.PROVENANCE_WORDS[gate.provenance]}]" if gate.provenance == "memory" else ""
    return f"{gate.sentence}.{again}{local}{origin}"


def facts(plan: Plan, stage: PlanStage) -> Iterator[Paragraph]:
    """Yield what a stage is and when it comes: the head of its details."""
    yield from of_stage(plan, stage)
    yield Paragraph("")
    yield Paragraph(stage.what)
    if stage.preferred:
        yield Paragraph(f"Preferred: {stage.preferred}")


def details(plan: Plan, stage: PlanStage) -> Iterator[Paragraph]:
    """Yield all that the plan says of a stage: what, when, why, gates, limits, stop rules, sources."""
    yield from facts(plan, stage)
    for line in why.why(plan, stage):
        if line.depth == 0:
            yield Paragraph("")
            yield Paragraph(line.text, heading=True)
        else:
            role = Role.LEGEND if line.text.startswith("source: ") else Role.TEXT
            yield Paragraph(line.text, depth=line.depth - 1, role=role, mark=why.MARKS.get(line.state, ""))
    yield Paragraph("")
    yield Paragraph("Marks: + met, - not met, ? not known, ~ waived, > judged later.", role=Role.LEGEND)
    if told := harm_words(stage):
        yield Paragraph("")
        yield Paragraph(HEADING, heading=True)
        yield Paragraph(f"{told[:1].upper()}{told[1:]}.", depth=0)
        yield Paragraph(NOTE, role=Role.LEGEND)
    cited = [source for source in plan.sources if source.id in stage.sources]
    if cited:
        yield Paragraph("")
        yield Paragraph("Sources of this stage", heading=True)
    for source in cited:
        yield Paragraph(f"{source.citation} {source.address}".rstrip(), role=Role.LEGEND)


def in_date_order(plan: Plan) -> tuple[PlanStage, ...]:
    """Return the stages by date, then those without one in the order of the plan, the prosthetic road last."""
    road = roads.prosthetic_stages(plan)
    dated = sorted((s for s in plan.stages if s.date is not None), key=lambda stage: stage.date or plan.on)
    return (*dated, *(stage for stage in plan.stages if stage.date is None and stage not in road), *road)
