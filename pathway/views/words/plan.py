"""The plan, the growth projection and the reasons as printed text: headings in words, no boxes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from pathway.days import age_on, age_words
from pathway.plan.model import Course, Plan, PlanStage, Quantiles
from pathway.plan.of_100 import of_100
from pathway.plan.waiting import may_wait_days
from pathway.preferences import PROSTHETIC_COURSE
from pathway.questions.why import SPANNED, Line, need_words
from pathway.views.words import harms, roads
from pathway.views.words.caution import INVENTED, caution
from pathway.views.words.curve_table import curve_table
from pathway.views.words.expected import NO_CHANCES, expected_words
from pathway.views.words.sides import between_words, residual_words
from pathway.views.words.wrapping import wrap

STATUS_WORDS = {
    "done": "done",
    "under_way": "under way",
    "ready": "ready",
    "later": "later",
    "blocked": "blocked",
    "optional": "optional",
}
STATUS_MARKS = {"done": "●", "under_way": "◐", "ready": "▶", "later": "○", "blocked": "✕", "optional": "◇"}
SHOWN_COURSES = 6
PROSTHETIC_HEADING = "Prosthetic road, in its usual order"
PROSTHETIC_NOTE = "Usual ages, no dates. Not every step is for every child: some stand in place of others."
LENGTHENING_NOTE = "Those marked [lengthening road] are drawn, not chosen."
STATE_MARKS = {"holds": "+", "fails": "-", "unknown": "?", "waived": "~", "later": ">", "": " "}


def plan_text(plan: Plan, width: int = 80, *, plain: bool = False) -> str:
    """Return the whole plan as text of at most `width` columns; `plain` uses no symbols beyond letters."""
    return "\n".join(_plan_lines(plan, width, plain)) + "\n"


def growth_text(plan: Plan, width: int = 80) -> str:
    """Return the growth projection: bands by age as a table, and the classical methods beside it."""
    return "\n".join(_growth_lines(plan, width)) + "\n"


def why_text(
    plan: Plan, stage: PlanStage | str, lines: Iterable[Line], width: int = 80, facts: Iterable[str] = ()
) -> str:
    """Return an explanation as indented text with a mark for each state, the addresses of its sources last.

    `stage` is the label of the kind where the plan has no such stage; `facts` are lines that come first.
    """
    name = stage if isinstance(stage, str) else f"{stage.label} ({when_words(plan, stage)})"
    head = wrap(f"{name} for {plan.child.id} on {plan.on}", width, "", "  ")
    body = [*head, *wrap(caution(plan), width), *local_lines(plan, width), *facts, ""]
    for line in lines:
        if line.depth == 0:
            body += ["", *wrap(line.text, width)]
            continue
        mark = STATE_MARKS[line.state]
        body += wrap(line.text, width, first="  " * line.depth + f"{mark} ", rest="  " * line.depth + "  ")
    marks = "Marks: + met, - not met, ? not known, ~ waived, > judged later."
    body += ["", *wrap(marks, width)]
    told = "" if isinstance(stage, str) else harms.harm_words(stage)
    if told:
        body += [
            "",
            harms.HEADING,
            *wrap(f"{told[:1].upper()}{told[1:]}.", width, "  "),
            *wrap(harms.NOTE, width, "  "),
        ]
    cited = [] if isinstance(stage, str) else [source for source in plan.sources if source.id in stage.sources]
    if cited:
        body += ["", "Sources of this stage"]
    for source in cited:
        body += wrap(f"{source.citation} {source.address}".rstrip(), width, "  ", "    ")
    return "\n".join(body) + "\n"


def child_words(plan: Plan) -> str:
    """Return who the plan is for: pseudonym, sex, age, diagnosis, side."""
    child = plan.child
    age = age_on(child.date_of_birth, plan.on)
    return f"{child.id}: {child.sex}, {age}, {child.diagnosis_label}, {child.affected_side}"


def local_lines(plan: Plan, width: int) -> Iterator[str]:
    """Yield which rules the clinic changed, added or switched off; nothing where it has none of its own."""
    protocol = plan.protocol
    if protocol.local_rules:
        yield from wrap(f"Local rules: {', '.join(protocol.local_rules)}", width, "", "  ")
    for item in protocol.switched_off:
        yield from wrap(f"Switched off locally: {item.id} ({item.because})", width, "", "  ")


def cm_words(mm: float) -> str:
    """Return a length as the clinic says it: `17.4 cm`."""
    return f"{round(mm / 10, 1) + 0.0:.1f} cm"


def range_words(spread: Quantiles) -> str:
    """Return median and 90 % band in words, in cm."""
    return (
        f"about {cm_words(spread.p50)}; about 90 of 100 children like this one between "
        f"{spread.p05 / 10:.1f} and {spread.p95 / 10:.1f} cm"
    )


def amount_words(stage: PlanStage) -> str:
    """Return a stage's amount in words, or ""."""
    if stage.amount_mm is None:
        return ""
    share = f" ({stage.amount_percent:.0f} % of the bone)" if stage.amount_percent is not None else ""
    plates = f" by {' and '.join(p.replace('_', ' ') for p in stage.physes)}" if stage.physes else ""
    return f"{cm_words(stage.amount_mm)}{share}{plates}"


def state_words(stage: PlanStage) -> str:
    """Return the state of a stage in a word; what most children come to is `likely`, not merely optional."""
    return "likely" if stage.likely and stage.status == "optional" else STATUS_WORDS[stage.status]


def when_words(plan: Plan, stage: PlanStage) -> str:
    """Return the state of a stage, and of the prosthetic road its usual age: `optional, usual age 10 to 18 months`."""
    if stage.road == "prosthetic" and not stage.begun:
        return f"{state_words(stage)}, prosthetic road, {roads.usual_words(plan, stage)}"
    return state_words(stage)


def _plan_lines(plan: Plan, width: int, plain: bool) -> Iterator[str]:
    child = plan.child
    yield from wrap(f"Plan for {child_words(plan)}", width, "", "  ")
    yield from wrap(f"on {plan.on}; {plan.protocol.name} {plan.protocol.version}", width, "", "  ")
    if child.note and child.note != INVENTED:
        yield from wrap(child.note, width)
    yield from wrap(caution(plan), width)
    yield from local_lines(plan, width)
    for text in plan.notices:
        yield ""
        yield from wrap(f"Notice: {text}", width)
    yield from _classification(plan, width)
    yield from _difference(plan, width)
    yield from _road_lines(plan, width)
    yield from _stage_table(plan, width, plain)
    yield from _prosthetic_lines(plan, width, plain)
    yield from _refused_lines(plan, width)
    yield from _delay_lines(plan, width)
    yield from _gate_lines(plan, width)
    yield from _span_lines(plan, width)
    yield from _harm_lines(plan, width)
    yield from _course_lines(plan, width, plain)
    yield from _question_lines(plan, width)
    for item in plan.conflicts:
        yield ""
        yield "Cannot be planned as the rules stand"
        yield from wrap(item.explanation, width, "  ")
        if item.remedies:
            yield "  Any one of these alone would make it possible:"
        for remedy in item.remedies:
            yield from wrap(remedy, width, "  - ", "    ")
    yield from _caution_lines(plan, width)


def _classification(plan: Plan, width: int) -> Iterator[str]:
    if plan.classification:
        yield ""
        yield "Classification"
    for item in plan.classification:
        local = " (local)" if item.system in plan.protocol.local_rules else ""
        yield from wrap(f"{item.label}{local}: {item.type} ({item.type_label})", width, "  ", "    ")
        if item.asks:
            yield from wrap("would be settled by: " + ", ".join(_words(asked) for asked in item.asks), width, "    ")


def _words(name: str) -> str:
    return name.replace("_", " ")


def _difference(plan: Plan, width: int) -> Iterator[str]:
    growth = plan.growth
    yield ""
    yield "Leg difference"
    both = plan.child.affected_side == "both"
    if growth.measured:
        last = growth.measured[-1]
        yield f"  measured {cm_words(last.discrepancy_mm)}{' between the two legs' if both else ''} on {last.date}"
    if both:
        yield from bones_lines(plan, width)
        return
    if growth.at_maturity is None:
        yield "  at maturity: cannot be predicted: no leg length measured"
        return
    text = f"at maturity ({age_words(growth.mature_age_years)}) without operation: "
    yield from wrap(text + range_words(growth.at_maturity.discrepancy_mm), width, "  ", "    ")
    if growth.adult_height_mm is not None:
        height = growth.adult_height_mm
        text = f"adult height about {height.p50 / 10:.0f} cm (about 90 of 100 between {height.p05 / 10:.0f} and "
        yield from wrap(f"{text}{height.p95 / 10:.0f})", width, "  ", "    ")
    if growth.next_visit:
        yield from wrap(growth.next_visit, width, "  ", "    ")


def bones_lines(plan: Plan, width: int) -> Iterator[str]:
    """Yield, where both legs are short, each bone beside the normal length of its age."""
    yield from wrap(plan.growth.basis, width, "  ", "    ")
    for note in plan.growth.notes:
        yield from wrap(note, width, "  ", "    ")
    if not plan.growth.notes:
        yield "  No bone was measured yet."


def _road_lines(plan: Plan, width: int) -> Iterator[str]:
    """Say how lengthening and prosthesis stand, and on which grounds."""
    if plan.roads is None:
        return
    yield ""
    yield "Roads"
    yield from wrap(plan.roads.sentence, width, "  ", "    ")
    for item in plan.roads.because:
        yield from wrap(f"{item.text}{' (local)' if item.local else ''}", width, "  - ", "    ")


def _stage_table(plan: Plan, width: int, plain: bool) -> Iterator[str]:
    yield ""
    yield "Stages"
    if any(roads.of_lengthening(plan, stage) for stage in plan.stages):
        yield from wrap(LENGTHENING_NOTE, width, "  ")
    for stage in roads.other_stages(plan):
        mark = "" if plain else f"{STATUS_MARKS[stage.status]} "
        when = f"{stage.date}  {age_on(plan.child.date_of_birth, stage.date):>9}" if stage.date else f"{'':10}  {'':9}"
        head = f"  {when}  {mark}{state_words(stage):<9}  "
        name = f"{stage.label}{road_mark(plan, stage)}{_local(plan, stage)}"
        yield from wrap(f"{name}{_tail(plan, stage)}", width, head, " " * len(head))
        for item in stage.because:
            if item.against:
                yield from wrap(item.text, width, " " * len(head))


def road_mark(plan: Plan, stage: PlanStage) -> str:
    """Return ` [lengthening road]` behind a stage of that road where it is not the one chosen, or ""."""
    return " [lengthening road]" if roads.of_lengthening(plan, stage) else ""


def _prosthetic_lines(plan: Plan, width: int, plain: bool) -> Iterator[str]:
    """Yield the prosthetic road in its order: ages of print, never a date."""
    steps = roads.prosthetic_stages(plan)
    if not steps:
        return
    yield ""
    yield PROSTHETIC_HEADING
    yield from wrap(PROSTHETIC_NOTE, width, "  ")
    for stage in steps:
        mark = "" if plain else f"{STATUS_MARKS[stage.status]} "
        head = f"  {mark}{state_words(stage):<9}  "
        text = f"{stage.label}{_local(plan, stage)}: {roads.usual_words(plan, stage)}"
        yield from wrap(text, width, head, " " * len(head))
        for item in stage.because:
            if item.against:
                yield from wrap(item.text, width, " " * len(head))


def _refused_lines(plan: Plan, width: int) -> Iterator[str]:
    said = roads.not_planned(plan)
    if said:
        yield ""
        yield "Not planned here"
    for text in said:
        yield from wrap(text, width, "  ", "    ")


def _local(plan: Plan, stage: PlanStage) -> str:
    """Say `local` where the stage or a reason for it comes from the clinic's own rules."""
    own = stage.kind in plan.protocol.local_rules or any(item.local for item in stage.because)
    return " (local)" if own else ""


def _tail(plan: Plan, stage: PlanStage) -> str:
    parts = [amount_words(stage), device_words(stage), roads.late_words(plan, stage)]
    if stage.window is not None and stage.operation and stage.status != "done":
        latest = f"to {stage.window.latest}" if stage.window.latest else "on"
        parts.append(f"allowed from {stage.window.earliest} {latest}")
    if stage.duration_range_months:
        low, high = stage.duration_range_months
        until = "solid in" if stage.device is not None and stage.device.stays else "device for"
        parts.append(f"{until} {low:.0f} to {high:.0f} months")
    shown = [part for part in parts if part]
    return ": " + "; ".join(shown) if shown else ""


def device_words(stage: PlanStage) -> str:
    """Return with which device a lengthening is done, and what it waits for, or ""."""
    device = stage.device
    if device is None:
        return ""
    if not device.asks or device.verdict is None:
        return device.label
    missing = "; ".join(leaf.sentence for leaf in device.verdict.leaves() if leaf.state == "unknown")
    return f"{device.label}, if what is missing for it allows it ({missing})"


def _delay_lines(plan: Plan, width: int) -> Iterator[str]:
    """Say what a later date of each operation does, and what became of wishes about dates."""
    bound = [stage for stage in plan.stages if stage.delay and may_wait_days(stage) is not None]
    planned = [stage for stage in plan.stages if stage.operation and (stage in bound or stage.preferred)]
    if not planned:
        return
    yield ""
    yield "If an operation is delayed"
    for stage in planned:
        wish = [f"{stage.preferred[0].upper()}{stage.preferred[1:]}."] if stage.preferred else []
        yield from wrap(f"{stage.label}: {' '.join([*stage.delay, *wish])}", width, "  ", "    ")


def _gate_lines(plan: Plan, width: int) -> Iterator[str]:
    open_gates = [
        (stage, gate) for stage in plan.stages for gate in stage.gates if gate.state in ("fails", "unknown", "waived")
    ]
    if not open_gates:
        return
    yield ""
    yield "Conditions not yet met"
    for stage, gate in open_gates:
        local = " (local)" if gate.local else ""
        yield from wrap(f"{stage.label}{local}: {gate.sentence}. {gate.because}", width, "  ", "    ")


def _harm_lines(plan: Plan, width: int) -> Iterator[str]:
    lines = tuple(harms.harm_lines(plan))
    if lines:
        yield ""
        yield harms.HEADING
        yield from wrap(harms.NOTE, width, "  ")
    for line in lines:
        yield from wrap(line, width, "  ", "    ")


def _span_lines(plan: Plan, width: int) -> Iterator[str]:
    """Say across which joints the device of a lengthening to come is carried, and on which grounds."""
    told = [stage for stage in plan.stages if stage.spans and not stage.begun]
    if not told:
        return
    yield ""
    yield "Joints that the device is carried across"
    for stage in told:
        for span in stage.spans:
            found = "; ".join(item.verdict.sentence for item in span.because if item.verdict is not None)
            grounds = " ".join(item.text for item in span.because)
            text = f"{stage.label}: {SPANNED[span.joint].lower()} ({need_words(span)}): {found}. {grounds}"
            yield from wrap(text, width, "  ", "    ")


def _course_lines(plan: Plan, width: int, plain: bool) -> Iterator[str]:
    if not plan.alternatives:
        return
    yield ""
    yield "Courses"
    for course in plan.alternatives[:SHOWN_COURSES]:
        yield from _course(plan, course, width, plain)
    more = len(plan.alternatives) - SHOWN_COURSES
    if more > 0:
        yield f"    and {more} more, ranked lower: --json shows all of them"
    elif len(plan.alternatives) == 1:
        yield from wrap("`limb-pathway alternatives` compares it with others.", width, "    ")


def _course(plan: Plan, course: Course, width: int, plain: bool) -> Iterator[str]:
    first = roads.first_words(plan, course)
    mark = "" if plain or not first else "▶ "
    text = f"{mark}{f'{first}: ' if first else ''}{course.summary}"
    yield from wrap(text, width, "  " if first else "    ", "      ")
    if course.id == PROSTHETIC_COURSE:
        yield from wrap(course.lost_because or "to be discussed: not measured by length", width, "      ")
        return
    yield from wrap(path_words(course), width, "      ")
    yield from wrap(usual_words(course), width, "      ")
    if course.lost_because:
        yield from wrap(f"Not first: {course.lost_because}.", width, "      ")


def path_words(course: Course) -> str:
    """Return what the path of a course takes if every step works: the other world, in a sentence of its own."""
    path = course.if_every_step_works
    if path is None or course.id == PROSTHETIC_COURSE:
        return ""
    lost = f"; adult height lost {path.adult_height_lost_mm / 10:.1f} cm" if path.adult_height_lost_mm >= 1 else ""
    counted = f"{path.operations} operation{'' if path.operations == 1 else 's'} of all kinds"
    return (
        f"If every step works: {counted}, {path.device_months:.0f} months with a device, school years affected "
        f"{path.school_years_touched}, {path.months_over_25_mm:.0f} months over 2.5 cm until growth ends; "
        f"{residual_words(path.residual_mm)}{lost}."
    )


def usual_words(course: Course) -> str:
    """Return what usually comes of a course in some sentences; "" where no chances were worked out."""
    return expected_words(course) or _older_words(course)


def _older_words(course: Course) -> str:
    """Return the same of a plan that was stored before ranges were worked out."""
    usual, spread = course.usually, course.residual_mm
    if spread is None and course.id != PROSTHETIC_COURSE:
        return NO_CHANCES
    if usual is None or spread is None or course.chance_within_20_mm is None:
        return ""
    counted = of_100({one.lengthenings: one.share for one in course.lengthenings_needed})
    numbers = ", ".join(_having(count, number) for number, count in counted.items() if count)
    return (
        f"What usually happens, with complications at published rates: of 100 children {numbers} (some stop early). "
        f"On average {usual.planned_operations:g} planned and {usual.unplanned_operations:g} unplanned operations "
        f"for length; about {usual.lasting_harm_of_100} lasting harms in 100 children, those of a growth arrest not "
        f"counted. Within 2 cm: about {100 * course.chance_within_20_mm:.0f} of 100; in about 90 of 100 the treated "
        f"leg ends {between_words(spread.p05, spread.p95)}."
    )


def _having(of_100: int, number: int) -> str:
    many = f"{number} lengthening" if number == 1 else f"{number} lengthenings" if number else "none"
    return f"{of_100} {'has' if of_100 == 1 else 'have'} {many}"


def _question_lines(plan: Plan, width: int) -> Iterator[str]:
    if not plan.open_questions:
        return
    yield ""
    yield "Measure first"
    for question in plan.open_questions:
        needed = ", ".join(question.needed_for)
        text = f"{question.label} ({_words(question.why_unknown)}): {question.how}; needed for {needed}"
        if question.by is not None:
            text += f", by {question.by}"
        if question.decides > 1:
            text += f"; {question.decides} open questions depend on it"
        if question.blocks:
            text += f"; holds up {', '.join(question.blocks)}"
        yield from wrap(text, width, "  ", "    ")


def _caution_lines(plan: Plan, width: int) -> Iterator[str]:
    yield ""
    yield "Cautions"
    for item in plan.cautions:
        yield from wrap(f"{item.text} (local)" if item.local else item.text, width, "  ", "    ")
    uncertain = sorted(
        {reason.rule for stage in plan.stages for reason in stage.because if reason.provenance == "memory"}
    )
    uncertain += sorted({gate.id for stage in plan.stages for gate in stage.gates if gate.provenance == "memory"})
    if uncertain:
        text = "Rules recalled from memory, to be checked before use: " + ", ".join(dict.fromkeys(uncertain))
        yield from wrap(text, width, "  ", "    ")


def _growth_lines(plan: Plan, width: int) -> Iterator[str]:
    growth = plan.growth
    yield f"Growth of {plan.child.id} on {plan.on}"
    yield from wrap(caution(plan), width)
    yield from local_lines(plan, width)
    yield ""
    if plan.child.affected_side == "both":
        yield from bones_lines(plan, width)
        return
    for note in growth.notes or (growth.basis,):
        yield from wrap(note, width, "  ", "    ")
    if growth.next_visit:
        yield from wrap(growth.next_visit, width, "  ", "    ")
    if growth.at_maturity is not None:
        yield ""
        yield from curve_table(plan, width)
    yield ""
    yield from wrap("Classical methods, for a second opinion (difference at maturity)", width)
    for method in growth.methods:
        value = (
            "no result" if method.discrepancy_at_maturity_mm is None else cm_words(method.discrepancy_at_maturity_mm)
        )
        yield from wrap(f"{method.name}: {value}. {method.note} Source: {method.source}", width, "  ", "    ")
    yield from _disagreement(plan, width)


def _disagreement(plan: Plan, width: int) -> Iterator[str]:
    at = plan.growth.at_maturity
    if at is None:
        return
    outside: Sequence[str] = [
        method.name
        for method in plan.growth.methods
        if method.discrepancy_at_maturity_mm is not None
        and not at.discrepancy_mm.p05 <= method.discrepancy_at_maturity_mm <= at.discrepancy_mm.p95
    ]
    if outside:
        text = "Outside the band of the projection: " + ", ".join(outside) + ". To be clarified by the team."
        yield from wrap(text, width, "  ", "    ")
