"""What frames a plan: the child, the cautions, the sources cited, and notices on decisions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pathway.courses.chosen import Chosen, chosen_of, course_words
from pathway.courses.course import Course
from pathway.courses.hip_gain import HipGain, gain_words
from pathway.days import age_years
from pathway.growth import Posterior, growth_questions
from pathway.plan import model as pm
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.protocol.words import lower_first
from pathway.record import Record
from pathway.rule_engine.conditions import Facts, judge


def child_card(question: Question) -> pm.PlanChild:
    """Return the child as the views show it."""
    child = question.record.child
    return pm.PlanChild(
        id=child.id,
        sex=child.sex,
        date_of_birth=child.date_of_birth,
        affected_side=child.affected_side,
        diagnosis=child.diagnosis,
        diagnosis_label=question.protocol.diagnosis(child.diagnosis).label,
        age_years=round(age_years(child.date_of_birth, question.on), 3),
        note=child.note,
    )


def cautions(
    protocol: Protocol, stages: Sequence[pm.PlanStage], *, both: bool, facts: Facts | None = None
) -> tuple[pm.Caution, ...]:
    """Return the sentences that this plan must show, the standing one first; with `facts` those of some children."""
    kinds = {stage.kind for stage in stages}
    return tuple(
        pm.Caution(id=rule.id, text=rule.text, sources=rule.sources, provenance=rule.provenance, local=rule.local)
        for rule in sorted(protocol.cautions, key=lambda rule: not rule.head)
        if (rule.bilateral and both) or (not rule.bilateral and (not rule.stages or kinds & set(rule.stages)))
        if rule.when is None or (facts is not None and judge(rule.when, facts, protocol).state == "holds")
    )


def cited_sources(plan: pm.Plan, protocol: Protocol) -> tuple[pm.SourceLine, ...]:
    """Return every source that the plan cites, in the order of the protocol."""
    printed = {course.programme for course in plan.alternatives}
    used = {source for stage in plan.stages for source in stage.sources}
    used |= {source for item in plan.classification for source in item.sources}
    used |= {source for item in plan.cautions for source in item.sources}
    used |= {source for stage in plan.stages for item in stage.harms for source in item.sources}
    used |= {source for stage in plan.stages for item in stage.after for source in item.sources}
    used |= {source for stage in plan.stages for item in stage.amount_limits for source in item.sources}
    used |= {
        source for stage in plan.stages for span in stage.spans for item in span.because for source in item.sources
    }
    used |= {source for item in plan.refused for source in item.sources}
    used |= {source for item in (plan.roads.because if plan.roads else ()) for source in item.sources}
    used |= {source for one in protocol.printed_programmes if one.id in printed for source in one.sources}
    used |= {source for item in plan.printed_results for source in item.sources}
    return tuple(
        pm.SourceLine(id=item.id, citation=item.citation, address=item.found_at, seen=item.seen)
        for item in protocol.sources
        if item.id in used
    )


def notices(
    record: Record,
    found: Sequence[Course],
    stages: Sequence[pm.PlanStage],
    posterior: Posterior | None,
    protocol: Protocol,
    hip_gain: HipGain | None = None,
) -> tuple[str, ...]:
    """Return values to be checked, the gain at the hip that is counted, and decisions that could not be followed."""
    said = [*growth_questions(record, protocol), *(posterior.surprises if posterior else ())]
    if hip_gain is not None:
        said.append(gain_words(hip_gain))
    chosen = chosen_of(record, protocol)
    if chosen is not None:
        said += _of_the_chosen(chosen, found, protocol)
    waived = {gate.id for stage in stages for gate in stage.gates if gate.state == "waived"}
    asked = {gate.id: gate.state for stage in stages for gate in stage.gates}
    for decision in record.decisions:
        if decision.kind == "waive_gate" and decision.gate in asked and decision.gate not in waived:
            state = asked[decision.gate]
            said.append(
                f"Gate {decision.gate}, waived on {decision.date}, is {pm.GATE_WORDS[state]}: nothing to waive today."
            )
    return tuple(said)


def _of_the_chosen(chosen: Chosen, found: Sequence[Course], protocol: Protocol) -> Iterator[str]:
    """Yield what became of the course that was chosen: what was carried out of it, what follows, or that it cannot."""
    course = f"{pm.CHOSEN_COURSE} {chosen.decision.date} ({course_words(chosen.id, protocol)})"
    first = next((one for one in found if one.recommended), None)
    shown = f"the recommended course is shown: {first.summary}" if first else "no course can be planned"
    done = ", ".join(f"{lower_first(protocol.stage(one.kind).label)} on {one.date}" for one in chosen.done)
    possible = chosen.left in {one.id for one in found}
    if chosen.left is None:
        yield f"Every operation of {course} was carried out: {done}. From here {shown}."
    elif not possible:
        what, no_longer = f"{course[0].upper()}{course[1:]}", "possible"
        if done:
            what = f"Carried out of {course}: {done}. What is left of it ({course_words(chosen.left, protocol)})"
            no_longer = "needed or possible"
        known = "; ".join(one.summary for one in found) or "none"
        yield f"{what} is no longer {no_longer}; {shown}. Possible now: {known}."
    elif done:
        yield f"Carried out of {course}: {done}. What follows: {course_words(chosen.left, protocol)}."
