"""What must be true of a rule set across its files: ids, references, sources, ranges. Returns faults."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from itertools import combinations
from typing import NamedTuple, get_args

from pathway.problems import Problem
from pathway.protocol.harm import OUTCOMES
from pathway.protocol.harm_check import faults_of_harm
from pathway.protocol.model import Bone, Condition, Protocol, Sourced
from pathway.protocol.preference_sets import faults_of_sets
from pathway.protocol.roles import EVERY_PLAN, FOLLOWING, ONCE, lengthenings, with_role
from pathway.protocol.traced import faults_of_evidence

QUANTITIES = frozenset(
    {
        "age_years",
        "predicted_discrepancy_at_maturity_mm",
        "predicted_femur_discrepancy_at_maturity_mm",
        "predicted_tibia_discrepancy_at_maturity_mm",
        "long_leg_growth_left_mm",
    }
)
POINTS = ("start", "end")


class _Wrong(NamedTuple):
    """A fault of a rule, before it is known which file the rule stands in."""

    rule: str
    found: str
    expected: str


def faults_of(protocol: Protocol, files: Mapping[str, str] | None = None) -> tuple[Problem, ...]:
    """Return every fault of the rule set: unresolved or doubled ids, missing sources, thresholds out of range.

    `files` says in which file each id stands; a fault of an id that it does not know is placed in `rules`.
    """
    found = (
        *_double_ids(protocol),
        *_sources(protocol),
        *_shapes(protocol),
        *_skeletal_methods(protocol),
        *_conditions(protocol),
        *_stage_references(protocol),
        *_roles(protocol),
        *_devices(protocol),
        *_months(protocol),
        *_amounts(protocol),
        *_head_caution(protocol),
        *_guidance(protocol),
        *_one_calendar(protocol),
        *_harms(protocol),
        *(_Wrong(*fault) for fault in faults_of_sets(protocol)),
        *(_Wrong(*fault) for fault in faults_of_evidence(protocol)),
    )
    do = "correct the rule or add what is missing"
    return tuple(
        Problem((files or {}).get(item.rule, "rules"), f"rule {item.rule}", None, item.found, item.expected, do)
        for item in found
    )


def _double_ids(protocol: Protocol) -> Iterator[_Wrong]:
    groups = {
        "source": [item.id for item in protocol.sources],
        "finding": [item.id for item in protocol.findings],
        "stage": [item.id for item in protocol.stages],
        "method": [item.id for item in protocol.methods],
        "skeletal method": [item.id for item in protocol.skeletal_methods],
        "diagnosis": [item.id for item in protocol.diagnoses],
        "classification": [item.id for item in protocol.classifications],
        "rule": [rule.id for rule in protocol.rules()],
        "disagreement": [item.id for item in protocol.disagreements],
        "evidence": [item.id for item in protocol.evidence],
        "harm": [item.id for item in protocol.harms],
        "harm of a stage": [item.id for item in protocol.stage_harms],
    }
    for kind, ids in groups.items():
        for name, count in Counter(ids).items():
            if count > 1:
                yield _Wrong(name, f"the {kind} id {count} times", "an id that is used once")


def _sourced(protocol: Protocol) -> Iterator[tuple[str, Sourced]]:
    for rule in protocol.rules():
        yield rule.id, rule
    for group in (
        protocol.findings,
        protocol.methods,
        protocol.skeletal_methods,
        protocol.diagnoses,
        protocol.classifications,
        protocol.stages,
        protocol.evidence,
        protocol.harms,
        protocol.stage_harms,
    ):
        for item in group:
            yield item.id, item


def _sources(protocol: Protocol) -> Iterator[_Wrong]:
    known = {source.id for source in protocol.sources}
    for name, item in _sourced(protocol):
        for source in item.sources:
            if source not in known:
                yield _Wrong(name, f"the source {source!r}", "an id of sources.toml")
    for dispute in protocol.disagreements:
        for source in (source for side in dispute.sides for source in side.sources):
            if source not in known:
                yield _Wrong(dispute.id, f"the source {source!r}", "an id of sources.toml")


def _shapes(protocol: Protocol) -> Iterator[_Wrong]:
    diagnoses = {diagnosis.id for diagnosis in protocol.diagnoses}
    for scheme in protocol.classifications:
        for name in scheme.applies_to:
            if name not in diagnoses:
                yield _Wrong(scheme.id, f"the diagnosis {name!r}", "a diagnosis of diagnoses.toml")
        for name, count in Counter(kind.type for kind in scheme.types).items():
            if count > 1:
                yield _Wrong(scheme.id, f"the type {name!r} {count} times", "a type that is used once")
    for diagnosis in protocol.diagnoses:
        if not diagnosis.bones:
            yield _Wrong(diagnosis.id, "no bone", "the bones that may be lengthened, the deficient one first")
    for rule in protocol.findings:
        if rule.plausible is not None and rule.plausible[0] >= rule.plausible[1]:
            yield _Wrong(rule.id, f"the plausible range {list(rule.plausible)}", "the lower value first")
        if rule.sd < 0:
            yield _Wrong(rule.id, f"the error {rule.sd:g}", "an error of 0 or more")
        if rule.valid_months is not None and rule.valid_months <= 0:
            yield _Wrong(rule.id, f"valid for {rule.valid_months} months", "whole months above 0")


def _skeletal_methods(protocol: Protocol) -> Iterator[_Wrong]:
    values = {value.id: value.value for value in protocol.values}
    tables = {table.id: table for table in protocol.tables}
    for method in protocol.skeletal_methods:
        if values.get(method.sd_value, 0.0) <= 0:
            yield _Wrong(method.id, f"the error {method.sd_value!r}", "the id of a value above 0 years")
        if method.stages is None:
            continue
        table = tables.get(method.stages)
        if table is None or not {"girls", "boys"} <= set(table.columns):
            yield _Wrong(method.id, f"the stages {method.stages!r}", "a table with the columns girls and boys")


def _all_conditions(protocol: Protocol) -> Iterator[tuple[str, Condition]]:
    asked: list[tuple[str, Condition | None]] = [
        *((kind.id, kind.when) for scheme in protocol.classifications for kind in scheme.types),
        *((rule.id, rule.when) for rule in protocol.indications),
        *((rule.id, rule.requires) for rule in protocol.gates),
        *((rule.id, rule.when) for rule in protocol.contraindications),
        *((rule.id, rule.tested) for rule in protocol.devices),
        *((rule.id, rule.requires) for rule in protocol.goals),
        *((rule.id, rule.when) for rule in protocol.follow_ups),
        *((rule.id, rule.when) for rule in protocol.both_sided),
        *((rule.id, rule.when) for rule in protocol.amount_limits),
        *((rule.id, rule.when) for rule in protocol.cautions),
        *((rule.id, rule.when) for rule in protocol.spans),
    ]
    return ((id, condition) for id, condition in asked if condition is not None)


def _conditions(protocol: Protocol) -> Iterator[_Wrong]:
    stages = {stage.id for stage in protocol.stages}
    schemes = {scheme.id: {kind.type for kind in scheme.types} for scheme in protocol.classifications}
    quiet = {scheme.id for scheme in protocol.classifications if not scheme.asks}
    diagnoses = {diagnosis.id for diagnosis in protocol.diagnoses}
    for name, condition in _all_conditions(protocol):
        for leaf in condition.leaves():
            if leaf.finding is not None:
                yield from _finding_leaf(protocol, name, leaf)
            elif leaf.quantity is not None:
                yield from _quantity_leaf(name, leaf)
            elif leaf.stage is not None and leaf.stage not in stages:
                yield _Wrong(name, f"the stage {leaf.stage!r}", "a stage of stages.toml")
            elif leaf.diagnosis is not None and leaf.diagnosis not in diagnoses:
                yield _Wrong(name, f"the diagnosis {leaf.diagnosis!r}", "a diagnosis of diagnoses.toml")
            elif leaf.classification is not None:
                types = schemes.get(leaf.classification)
                if types is None:
                    yield _Wrong(name, f"the classification {leaf.classification!r}", "a known classification")
                elif leaf.classification in quiet:
                    yield _Wrong(name, f"{leaf.classification}, which asks for nothing", "a scheme that may ask")
                elif unknown := set(leaf.one_of or ()) - types:
                    yield _Wrong(name, f"the types {sorted(unknown)}", f"types of {leaf.classification}")


def _quantity_leaf(name: str, leaf: Condition) -> Iterator[_Wrong]:
    if leaf.quantity not in QUANTITIES:
        yield _Wrong(name, f"the quantity {leaf.quantity!r}", f"one of {', '.join(sorted(QUANTITIES))}")
    if leaf.equals is not None or leaf.one_of is not None or leaf.known:
        yield _Wrong(name, f"no number to compare {leaf.quantity} with", "at_least, above, at_most or below")
    if leaf.chance is not None and not 0 < leaf.chance <= 1:
        yield _Wrong(name, f"the chance {leaf.chance:g}", "a chance above 0 and up to 1")


def _finding_leaf(protocol: Protocol, name: str, leaf: Condition) -> Iterator[_Wrong]:
    if leaf.finding not in protocol.finding_ids():
        yield _Wrong(name, f"the finding {leaf.finding!r}", "a finding of findings.toml")
        return
    rule = protocol.finding(leaf.finding)
    bounds = [b for b in (leaf.at_least, leaf.above, leaf.at_most, leaf.below) if b is not None]
    if bounds and rule.kind != "number":
        yield _Wrong(name, f"a comparison of {rule.id} with a number", f"a {rule.kind}: equals or one_of")
    if bounds and rule.plausible and not all(rule.plausible[0] <= b <= rule.plausible[1] for b in bounds):
        low, high = rule.plausible
        yield _Wrong(name, f"the threshold {bounds} of {rule.id}", f"a value from {low:g} to {high:g}")
    words = set(leaf.one_of or ()) | ({leaf.equals} if isinstance(leaf.equals, str) else set())
    if words and not words <= set(rule.choices):
        yield _Wrong(name, f"the choices {sorted(words)} of {rule.id}", f"choices among {', '.join(rule.choices)}")
    if leaf.leg == "other" and rule.of == "child":
        yield _Wrong(name, f"the other leg for {rule.id}", "no leg, because it belongs to the whole child")
    if isinstance(leaf.equals, bool) and rule.kind != "flag":
        yield _Wrong(name, f"true or false for {rule.id}", f"a {rule.kind}")


def _stage_references(protocol: Protocol) -> Iterator[_Wrong]:
    stages = {stage.id for stage in protocol.stages}
    findings = protocol.finding_ids()
    named: list[tuple[str, str | None]] = []
    named += [(rule.id, rule.stage) for rule in protocol.indications]
    named += [(rule.id, rule.guards) for rule in protocol.gates] + [(r.id, r.otherwise) for r in protocol.gates]
    named += [(rule.id, rule.stage) for rule in protocol.contraindications]
    named += [(rule.id, rule.instead) for rule in protocol.contraindications]
    named += [(rule.id, rule.stage) for rule in protocol.age_windows]
    named += [(rule.id, rule.stage) for rule in protocol.amount_limits]
    named += [(harm.id, kind) for harm in protocol.stage_harms for kind in harm.stages]
    named += [(rule.id, rule.stage) for rule in protocol.spans]
    named += [(rule.id, rule.stage) for rule in protocol.both_sided]
    named += [(rule.id, rule.stage) for rule in protocol.stop_rules]
    named += [(rule.id, rule.stage) for rule in protocol.goals]
    named += [(rule.id, rule.stage) for rule in protocol.follow_ups]
    named += [(rule.id, stage) for rule in protocol.accompanying for stage in (rule.stage, *rule.around)]
    named += [(rule.id, stage) for rule in protocol.cautions for stage in rule.stages]
    for interval in protocol.intervals:
        named += [(interval.id, interval.earlier_stage), (interval.id, interval.later_stage)]
        for event in (interval.earlier, interval.later):
            if event.rpartition(".")[2] not in POINTS:
                yield _Wrong(interval.id, f"the event {event!r}", "stage.start or stage.end")
    for name, stage in named:
        if stage is not None and stage not in stages:
            yield _Wrong(name, f"the stage {stage!r}", "a stage of stages.toml")
    for item in protocol.stages:
        for finding in (*item.mends, *item.alters):
            if finding not in findings:
                yield _Wrong(item.id, f"the finding {finding!r}", "a finding of findings.toml")


def _roles(protocol: Protocol) -> Iterator[_Wrong]:
    for role in ONCE:
        having = with_role(role, protocol)
        for item in having[1:]:
            yield _Wrong(item.id, f"the role {role}, which {having[0].id} has too", "a role that stands once")
        if role in EVERY_PLAN and not having:
            yield _Wrong("stage", f"no stage with the role {role}", "one, because every plan may hold it")
    for item in protocol.stages:
        if (item.role == "lengthening") != (item.bone is not None):
            yield _Wrong(item.id, f"the role {item.role} and the bone {item.bone}", "a lengthening and its bone")
        if item.role == "growth_arrest" and item.most > 1:
            yield _Wrong(item.id, f"most = {item.most}", "once: growth plates that are closed stay closed")
    yield from _ends_of_lengthenings(protocol)
    yield from _apart(protocol)


def _ends_of_lengthenings(protocol: Protocol) -> Iterator[_Wrong]:
    """Every lengthening ends with a removal of its device; what starts at an end belongs to one lengthening."""
    leading = {stage.id: stage for stage in with_role("lengthening", protocol)}
    removed = set()
    for item in (stage for role in FOLLOWING for stage in with_role(role, protocol)):
        rules = [rule for rule in protocol.intervals if rule.starts_at_end and rule.later_stage == item.id]
        leaders = {rule.earlier_stage for rule in rules} & leading.keys()
        if len(leaders) != 1:
            found = f"the role {item.role} at the end of {', '.join(sorted(leaders)) or 'no lengthening'}"
            expected = "an interval of 0 months from the end of one lengthening"
            yield _Wrong(item.id, found, expected)
        if item.role == "device_removal":
            removed |= leaders
    for name in sorted(leading.keys() - removed):
        yield _Wrong(name, "no stage that removes its device", "a stage with the role device_removal at its end")


def _devices(protocol: Protocol) -> Iterator[_Wrong]:
    """Each bone that is lengthened has one usual device; the removal of a nail belongs to one lengthening."""
    for bone in get_args(Bone):
        usual = [device.id for device in protocol.devices if device.bone == bone and device.choice == "usual"]
        if lengthenings(bone, protocol) and len(usual) != 1:
            found = f"{len(usual)} usual devices of the {bone} ({', '.join(usual) or 'none'})"
            yield _Wrong(usual[-1] if usual else "device", found, "one device with choice = usual for each bone")
    values = {value.id for value in protocol.values}
    for device in protocol.devices:
        for weight in (device.month_weight, device.school_weight):
            if weight not in values:
                yield _Wrong(device.id, f"the weight {weight!r}", "the id of a value")
        bound = device.tested is not None or device.from_age_years or device.least_mm or device.most_mm
        if device.choice == "usual" and bound:
            expected = "no condition, age or amount: the usual device of a bone stands for every child"
            yield _Wrong(device.id, "a condition, age or amount", expected)
        if device.most_weight_kg is not None and device.weight_finding is None:
            yield _Wrong(device.id, "a weight limit", "`weight_finding` beside it")
        tested = {leaf.finding for leaf in device.tested.leaves()} if device.tested is not None else set()
        for name in device.outgrown:
            if name not in tested:
                yield _Wrong(device.id, f"the outgrown finding {name!r}", "one that its condition tests")
        if device.weight_finding is not None and device.weight_finding not in protocol.finding_ids():
            yield _Wrong(device.id, f"the finding {device.weight_finding!r}", "a finding of the rules")
        least, most = device.least_mm or 0.0, device.most_mm
        if most is not None and least > most:
            yield _Wrong(device.id, f"from {least:g} to {most:g} mm", "the lower amount first")
    leading = {stage.id for stage in with_role("lengthening", protocol)}
    for stage in with_role("implant_removal", protocol):
        pairs = {rule.earlier_stage for rule in protocol.intervals if rule.paired and rule.later_stage == stage.id}
        if len(pairs & leading) != 1:
            found = f"the role implant_removal after {', '.join(sorted(pairs)) or 'no lengthening'}"
            yield _Wrong(stage.id, found, "a `paired` interval from one lengthening")


def _apart(protocol: Protocol) -> Iterator[_Wrong]:
    """Two ways of lengthening one bone are never on it at once: a rule of either order keeps them apart."""
    apart = {frozenset((rule.earlier_stage, rule.later_stage)) for rule in protocol.intervals if rule.either_order}
    for bone in get_args(Bone):
        for one, other in combinations(lengthenings(bone, protocol), 2):
            if frozenset((one.id, other.id)) not in apart:
                found = f"no interval between {one.id} and {other.id}"
                yield _Wrong(other.id, found, "one with `either_order = true`, because both lengthen one bone")


def _months(protocol: Protocol) -> Iterator[_Wrong]:
    bounds = [(rule.id, rule.at_least_months, rule.at_most_months) for rule in protocol.intervals]
    bounds += [(rule.id, rule.at_least_months, rule.at_most_months) for rule in protocol.age_windows]
    for name, low, high in bounds:
        if low is None and high is None:
            yield _Wrong(name, "no bound", "at_least_months, at_most_months or both")
        if any(bound is not None and bound < 0 for bound in (low, high)):
            yield _Wrong(name, f"the months {low} to {high}", "whole months of 0 or more")
        if low is not None and high is not None and low > high:
            yield _Wrong(name, f"at least {low} and at most {high} months", "a least that is not above the most")


def _amounts(protocol: Protocol) -> Iterator[_Wrong]:
    for rule in protocol.amount_limits:
        given = [most for most in (rule.most_mm, rule.most_percent) if most is not None]
        if len(given) != 1:
            yield _Wrong(rule.id, f"{len(given)} limits", "most_mm or most_percent")
        if any(most <= 0 for most in given):
            yield _Wrong(rule.id, f"the limit {given[0]:g}", "a limit above 0")
        if rule.from_age_years >= rule.to_age_years:
            found = f"from {rule.from_age_years:g} to {rule.to_age_years:g} years"
            yield _Wrong(rule.id, found, "the younger age first")


def _head_caution(protocol: Protocol) -> Iterator[_Wrong]:
    heads = [rule for rule in protocol.cautions if rule.head]
    if len(heads) != 1:
        name = heads[0].id if heads else "caution"
        yield _Wrong(name, f"{len(heads)} cautions with `head = true`", "exactly one, which heads every view")
    for rule in heads:
        if rule.stages or rule.bilateral:
            yield _Wrong(rule.id, "stages or bilateral", "neither, because it heads every view")


def _one_calendar(protocol: Protocol) -> Iterator[_Wrong]:
    if len(protocol.calendars) != 1:
        name = protocol.calendars[-1].id if protocol.calendars else "calendar"
        yield _Wrong(name, f"{len(protocol.calendars)} calendars", "one [calendar], a clinic's with the id of ours")
    for calendar in protocol.calendars:
        for day in sorted({day for day in calendar.operating_weekdays if calendar.operating_weekdays.count(day) > 1}):
            yield _Wrong(calendar.id, f"{day} twice", "each weekday once")


def _guidance(protocol: Protocol) -> Iterator[_Wrong]:
    for visit in protocol.follow_ups:
        until = visit.until_months
        if visit.every_months <= 0 or (until is not None and until < visit.every_months):
            yield _Wrong(visit.id, f"every {visit.every_months} months until {until}", "an interval within its time")
    roles = {stage.id: stage.role for stage in protocol.stages}
    for goes_with in protocol.accompanying:
        if goes_with.from_point == goes_with.until_point and goes_with.until_months < goes_with.from_months:
            yield _Wrong(
                goes_with.id,
                f"{goes_with.from_months} to {goes_with.until_months} months",
                "a time that ends after it begins",
            )
        if roles.get(goes_with.stage, "accompanying") != "accompanying":
            yield _Wrong(goes_with.id, f"the stage {goes_with.stage!r}", "a stage with the role accompanying")
    yield from _printed(protocol)
    diagnoses = {diagnosis.id for diagnosis in protocol.diagnoses}
    for item in protocol.companions:
        for name in item.diagnoses:
            if name not in diagnoses:
                yield _Wrong(item.id, f"the diagnosis {name!r}", "a diagnosis of diagnoses.toml")
        low, high = item.share_low_percent, item.share_high_percent
        shares = [share for share in (low, high) if share is not None]
        if any(not 0 <= share <= 100 for share in shares) or shares != sorted(shares):
            yield _Wrong(item.id, f"the shares {shares}", "percent, the lower one first")
    known = {rule.id for rule in protocol.rules()}
    groups = (protocol.findings, protocol.diagnoses, protocol.classifications, protocol.stages)
    known |= {item.id for group in groups for item in group}
    for dispute in protocol.disagreements:
        for rule in dispute.rules:
            if rule not in known:
                yield _Wrong(dispute.id, f"the rule {rule!r}", "the id of a rule, finding, scheme or stage")


def _printed(protocol: Protocol) -> Iterator[_Wrong]:
    """Programmes of print name diagnoses, lengthenings and devices of the rules, and one of them does nothing more."""
    diagnoses, devices = ({item.id for item in group} for group in (protocol.diagnoses, protocol.devices))
    leading = {stage.id for stage in with_role("lengthening", protocol)}
    for item in protocol.printed_programmes:
        named = [("diagnosis", name, diagnoses) for name in item.diagnoses]
        named += [("lengthening", step.stage, leading) for step in item.steps]
        named += [("device", name, devices) for step in item.steps for name in step.devices]
        for what, name, known in named:
            if name not in known:
                yield _Wrong(item.id, f"the {what} {name!r}", f"one of {', '.join(sorted(known))}")


def _harms(protocol: Protocol) -> Iterator[_Wrong]:
    for item in protocol.harms:
        for found, expected in faults_of_harm(item):
            yield _Wrong(item.id, found, expected)
    counts, lengthened = {item.id for item in protocol.harms}, {stage.id for stage in protocol.stages if stage.bone}
    for harm in protocol.stage_harms:
        if harm.outcome is not None and harm.outcome not in OUTCOMES:
            yield _Wrong(harm.id, f"the outcome {harm.outcome!r}", f"one of {', '.join(OUTCOMES)}")
        if harm.count is not None and harm.count not in counts:
            yield _Wrong(harm.id, f"the count {harm.count!r}", "the id of a [[harm]]")
        if harm.outcome is not None and not lengthened & set(harm.stages):
            yield _Wrong(harm.id, "an outcome of lengthenings at other stages", "stages that lengthen a bone")
        for name in harm.complications:
            if name not in protocol.complications:
                yield _Wrong(harm.id, f"the complication {name!r}", f"one of {', '.join(protocol.complications)}")
        if not harm.family_words.strip().endswith("."):
            yield _Wrong(harm.id, f"the family words {harm.family_words!r}", "sentences that end with a full stop")
