"""The plan of a child with two short legs: each leg by its own findings, nothing predicted from one for the other.

Every stage goes the way that the rules give it there (`both_sided`): judged for each leg, once for the child, for the
shorter leg by the difference as measured, or refused by its name.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from pathway.courses.course import placed_stages
from pathway.days import age_words, age_years
from pathway.growth.normal_bones import normal_bone
from pathway.network import Conflict
from pathway.plan import assemble
from pathway.plan import model as pm
from pathway.protocol.model import Bone, BothSided, Protocol
from pathway.protocol.question import Question
from pathway.record import Record, Side
from pathway.rule_engine.classify import Classified, classify, with_classes
from pathway.rule_engine.conditions import LENGTHS_ASKED, Facts, judge
from pathway.rule_engine.facts import facts_on
from pathway.rule_engine.findings import current_discrepancy
from pathway.rule_engine.graph import ChildGraph, PathwayGraph, StageItem
from pathway.rule_engine.roads import Standing
from pathway.rule_engine.staging import stage
from pathway.timing.road_windows import road_windows
from pathway.timing.schedule import timetable

SIDES: tuple[Side, Side] = ("left", "right")


@dataclass(frozen=True, slots=True)
class _Leg:
    """One leg as the affected one: what is asked about it, its facts, schemes, graph and stages of a plan."""

    side: Side
    question: Question
    facts: Facts
    classified: tuple[Classified, ...]
    graph: ChildGraph
    stages: tuple[pm.PlanStage, ...]
    conflict: Conflict | None


@dataclass(frozen=True, slots=True)
class BothSides:
    """What the plan of such a child holds beside what every plan has."""

    classification: tuple[pm.ClassificationResult, ...]
    growth: pm.GrowthPart
    stages: tuple[pm.PlanStage, ...]
    roads: pm.Roads | None
    open_questions: tuple[pm.OpenQuestion, ...]
    conflicts: tuple[pm.PlanConflict, ...]
    considered: tuple[pm.Considered, ...]
    refused: tuple[pm.Refusal, ...]
    notices: tuple[str, ...]


def both_sides(question: Question, mature_age_years: float) -> BothSides:
    """Return the parts of the plan of a child affected on both sides, on one day."""
    how = {rule.stage: rule for rule in question.protocol.both_sided}
    legs = [_leg(side, question, how) for side in SIDES]
    short = _shorter(legs)
    stages = [*_of_each(legs, how), *_of_child(legs, how), *_of_shorter(short, question, how)]
    stages.sort(key=lambda one: (one.date is None, one.date or question.on, question.protocol.stage(one.kind).rank))
    born, protocol = question.record.child.date_of_birth, question.protocol
    found = [assemble.roads(leg.graph, leg.stages) for leg in legs]
    return BothSides(
        classification=tuple(_named(item, leg) for leg in legs for item in assemble.classification(leg.classified)),
        growth=_growth(question, short, mature_age_years),
        stages=tuple(stages),
        roads=_roads([road for road in found if road is not None], stages),
        open_questions=_questions(legs, protocol, question),
        conflicts=tuple(assemble.conflict(leg.conflict, protocol, born) for leg in legs if leg.conflict is not None),
        considered=tuple(item for leg in legs for item in assemble.considered(leg.graph, leg.classified)),
        refused=tuple(_refused(legs, how, protocol)),
        notices=tuple(_notices(question, short)),
    )


def _leg(side: Side, question: Question, how: Mapping[str, BothSided]) -> _Leg:
    asked = Question(question.record.seen_from(side), question.protocol, question.on, both_sides=True)
    facts = facts_on(asked, None)
    classified = classify(facts, asked.protocol)
    whole = stage(with_classes(facts, classified), asked)
    ways = ("each_side", "child")
    kept = [
        item
        for item in whole.stages
        if _of_begun(item, whole)
        or (item.kind in how and how[item.kind].how in ways and _stays(item, how[item.kind], facts, asked))
    ]
    ids = {item.id for item in kept}
    edges = [edge for edge in (*whole.edges, *whole.past) if {edge.earlier, edge.later} <= ids]
    roles = {kind.id: kind.role for kind in asked.protocol.stages}
    standing = whole.standing
    if standing is not None and standing.stands == "not_known" and not any(item.state == "unknown" for item in kept):
        standing = Standing()
    graph: ChildGraph = PathwayGraph(kept, edges, whole.considered, roles, standing, whole.devices)
    times = timetable(graph, placed_stages(graph, None, asked.protocol), asked)
    conflict = times if isinstance(times, Conflict) else None
    dates = None if isinstance(times, Conflict) else times
    stages = assemble.plan_stages(graph, None, dates, asked, road_windows(graph, asked))
    return _Leg(side, asked, facts, classified, graph, stages, conflict)


def _of_begun(item: StageItem, graph: ChildGraph) -> bool:
    """Return whether a stage is done or under way, or ends one that is: a device on the bone or in it goes."""
    leader = graph.leader(item.id)
    inside = item.role == "implant_removal" and item.state == "planned"
    return item.begun or inside or (leader is not None and leader.begun)


def _stays(item: StageItem, rule: BothSided, facts: Facts, question: Question) -> bool:
    """Return whether a stage is open for a leg: by its rule, and by more than what is never predicted on both sides."""
    asks = {finding for _, verdict in item.indicated for finding in verdict.asks}
    if item.state == "unknown" and asks <= set(LENGTHS_ASKED):
        return False
    return rule.when is None or judge(rule.when, facts, question.protocol).state == "holds"


def _shorter(legs: Sequence[_Leg]) -> _Leg:
    """Return the leg that was the shorter one when both were last measured; the left where nobody measured."""
    difference = _measured(legs[0])
    return legs[1] if difference is not None and difference < 0 else legs[0]


def _of_each(legs: Sequence[_Leg], how: Mapping[str, BothSided]) -> Iterator[pm.PlanStage]:
    for leg in legs:
        names = {one.id: f"{one.id}_{leg.side}" for one in leg.stages}
        for one in leg.stages:
            if _way(one, how) == "each_side":
                yield _of_side(one, leg.side, names)


def _of_child(legs: Sequence[_Leg], how: Mapping[str, BothSided]) -> Iterator[pm.PlanStage]:
    """Yield what is done once for the child, from the first leg that asks for it; an operation only where both do."""
    seen: set[str] = set()
    asked = [{one.id for one in leg.stages} for leg in legs]
    for leg in legs:
        for one in leg.stages:
            if one.operation and not all(one.id in ids for ids in asked):
                continue
            if _way(one, how) == "child" and one.id not in seen:
                seen.add(one.id)
                ties = tuple(tie for tie in one.after if tie.stage in {other.id for other in leg.stages})
                yield one.model_copy(update={"side": "both", "after": ties if one.kind in how else ()})


def _of_side(one: pm.PlanStage, side: Side, names: Mapping[str, str]) -> pm.PlanStage:
    ties = tuple(tie.model_copy(update={"stage": names.get(tie.stage, tie.stage)}) for tie in one.after)
    return one.model_copy(update={"id": names[one.id], "label": f"{one.label} ({side})", "side": side, "after": ties})


def _way(one: pm.PlanStage, how: Mapping[str, BothSided]) -> str:
    """Return how a stage goes; what is done or under way, and examinations, belong to their leg."""
    rule = how.get(one.kind)
    return "each_side" if rule is None or one.begun else rule.how


def _of_shorter(short: _Leg, question: Question, how: Mapping[str, BothSided]) -> Iterator[pm.PlanStage]:
    """Yield what the difference as measured today asks for, on the shorter leg: no age, no amount."""
    measured = _measured(short)
    if measured is None:
        return
    protocol = question.protocol
    for kind in protocol.stages:
        rule = how.get(kind.id)
        if rule is None or rule.how != "shorter_leg":
            continue
        grounds = [
            (item.rule, item.verdict)
            for item in short.graph.considered
            if item.rule.stage == kind.id and item.verdict.state == "holds"
        ]
        if kind.bone is not None:
            least = protocol.number("least_lengthening_mm")
            if measured < least or _own_share_mm(short, kind.bone) < least:
                continue
        elif not grounds:
            continue
        because = (assemble.reason(rule, None), *(assemble.reason(*ground) for ground in grounds))
        worn = kind.bone is None
        yield pm.PlanStage(
            id=kind.id,
            kind=kind.id,
            number=1,
            label=f"{kind.label} ({short.side})",
            lane=kind.lane,
            what=kind.what,
            family_words=kind.family_words,
            operation=kind.operation,
            status="ready" if worn else "optional",
            side=short.side,
            because=because,
            date=question.on if worn else None,
            end_date=question.on if worn else None,
            window=pm.DateWindow(earliest=question.on) if worn else None,
            delay=("A delay moves nothing else.",) if worn else (),
            age_years=round(age_years(question.record.child.date_of_birth, question.on), 3) if worn else None,
            sources=tuple(sorted({source for item in because for source in item.sources} | set(kind.sources))),
        )


def _measured(leg: _Leg) -> float | None:
    """Return by how much the leg was the shorter one when both were last measured, mm; None where nobody did."""
    for visit in reversed(leg.question.record.visits):
        found = current_discrepancy(visit, leg.question.record)
        if found is not None:
            return found
    return None


def _own_share_mm(short: _Leg, bone: Bone) -> float:
    """Return by how much the bone of the shorter leg is the shorter one of the two, mm; 0 where it was not measured."""
    lengths = _lengths(short.question.record)
    other: Side = "right" if short.side == "left" else "left"
    mine, its = lengths.get((short.side, bone)), lengths.get((other, bone))
    return 0.0 if mine is None or its is None else its - mine


def _lengths(record: Record) -> dict[tuple[Side, Bone], float]:
    """Return the last length of each bone of both legs, mm."""
    bones: dict[str, Bone] = {"femur_length_mm": "femur", "tibia_length_mm": "tibia"}
    found: dict[tuple[Side, Bone], float] = {}
    for visit in record.visits:
        for item in visit.measurements:
            if item.finding in bones and item.side is not None:
                found[item.side, bones[item.finding]] = float(item.value)
    return found


def _growth(question: Question, short: _Leg, mature_age_years: float) -> pm.GrowthPart:
    part = assemble.growth_part(short.question.record, question.protocol, None, None, None, None, (), mature_age_years)
    lines = tuple(_against_normal(question))
    basis = (
        "Both legs are short: no difference at maturity is predicted from the other leg. Each bone is compared with "
        "normal lengths."
    )
    return part.model_copy(update={"basis": basis, "notes": lines})


def _against_normal(question: Question) -> Iterator[str]:
    """Yield one sentence for each bone that was measured: its length beside the normal one of that age."""
    child, protocol = question.record.child, question.protocol
    for side in SIDES:
        for bone in ("femur", "tibia"):
            last = next(
                (
                    (visit.date, float(item.value))
                    for visit in reversed(question.record.visits)
                    for item in visit.measurements
                    if item.finding == f"{bone}_length_mm" and item.side == side
                ),
                None,
            )
            if last is None:
                continue
            day, length = last
            age = age_years(child.date_of_birth, day)
            normal = normal_bone(protocol, child.sex, bone, age)
            if normal is None:
                yield f"{side} {bone} {length:.0f} mm on {day}: no normal length of that age was found."
                continue
            share = 100 * (length / normal.mean_mm - 1)
            words = f"{abs(share):.0f} % {'longer' if share > 0 else 'shorter'} than"
            words = words if round(share) else "as long as"
            yield (
                f"{side} {bone} {length:.0f} mm on {day}, {words} normal at {age_words(age)} "
                f"({normal.mean_mm:.0f} mm, SD {normal.sd_mm:.0f})."
            )


def _notices(question: Question, short: _Leg) -> Iterator[str]:
    measured = _measured(short)
    if measured is None:
        yield "The two legs were never measured against each other: do so, and equalise what is found."
    elif measured >= question.protocol.number("least_lengthening_mm"):
        yield (
            f"The {short.side} leg is {measured / 10:.1f} cm the shorter one as measured: that difference is "
            "equalised, first with a lift. It is not projected to maturity."
        )


def _named(item: pm.ClassificationResult, leg: _Leg) -> pm.ClassificationResult:
    return item.model_copy(update={"label": f"{item.label}, {leg.side}"})


def _roads(found: Sequence[pm.Roads], stages: Sequence[pm.PlanStage]) -> pm.Roads | None:
    """Return how the roads stand for the child: as for the leg that leaves least open, with the grounds of both."""
    if not found:
        return None
    order = ("prosthetic", "undecided", "both", "lengthening", "not_known")
    first = min(found, key=lambda road: order.index(road.stands))
    because = {reason.rule: reason for road in found for reason in road.because}
    ids = tuple(one.id for one in stages if one.road == "prosthetic" and not one.begun)
    return first.model_copy(update={"because": tuple(because.values()), "shared": (), "prosthetic": ids})


def _questions(legs: Sequence[_Leg], protocol: Protocol, question: Question) -> tuple[pm.OpenQuestion, ...]:
    asked = []
    for leg in legs:
        for one in assemble.open_questions(
            leg.graph, leg.classified, leg.facts.findings, leg.stages, None, protocol, question.on
        ):
            blocks = tuple(item for item in one.blocks if item != assemble.PROJECTION)
            needed = tuple(item for item in one.needed_for if item != assemble.PROJECTION)
            if needed:
                update: dict[str, object] = {"needed_for": needed, "blocks": blocks}
                if protocol.finding(one.finding).of == "limb":
                    update |= {"label": f"{one.label} ({leg.side})", "side": leg.side}
                asked.append(one.model_copy(update=update))
    # What belongs to the whole child is asked for once.
    return tuple({(one.finding, one.label): one for one in asked}.values())


def _refused(legs: Sequence[_Leg], how: Mapping[str, BothSided], protocol: Protocol) -> Iterator[pm.Refusal]:
    """Yield by name every stage that one leg alone would be offered and no source supports on both sides."""
    asked = {
        item.rule.stage
        for leg in legs
        for item in leg.graph.considered
        if item.verdict.state in ("holds", "unknown") and not item.waived
    }
    for kind in sorted(protocol.stages, key=lambda one: one.rank):
        rule = how.get(kind.id)
        if kind.id in asked and rule is not None and rule.how == "refused":
            yield pm.Refusal(
                stage=kind.id,
                label=kind.label,
                because=rule.because,
                rule=rule.id,
                sources=rule.sources,
                provenance=rule.provenance,
            )
