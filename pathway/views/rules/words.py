"""What each rule says, in one or two sentences made from its data."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from pydantic import BaseModel

from pathway.days import age_words
from pathway.protocol import model
from pathway.protocol.harm import Spread
from pathway.protocol.model import Protocol
from pathway.protocol.references import scheme_of
from pathway.protocol.traced import resting_words
from pathway.protocol.words import WITHOUT_UNIT, condition_words, plain_words
from pathway.record import BlockedWeeks, SchoolHoliday

KIND_WORDS = {
    "sources": "source",
    "findings": "finding",
    "methods": "way of measuring",
    "skeletal_methods": "way of reading a skeletal age",
    "diagnoses": "diagnosis",
    "classifications": "classification",
    "types": "type of a classification",
    "stages": "stage",
    "indications": "indication",
    "gates": "gate",
    "contraindications": "contraindication",
    "intervals": "interval",
    "age_windows": "age window",
    "amount_limits": "limit of an amount",
    "devices": "device",
    "spans": "span of a joint",
    "both_sided": "rule for both legs",
    "values": "value",
    "cautions": "caution",
    "stop_rules": "stop rule",
    "goals": "goal",
    "follow_ups": "follow-up",
    "accompanying": "what goes with a stage",
    "printed_programmes": "programme of print",
    "companions": "companion condition",
    "implants": "implant at hand",
    "preference_sets": "set of weights",
    "calendars": "calendar",
    "disagreements": "disagreement of sources",
    "evidence": "what a source shows",
    "harms": "published count",
    "stage_harms": "harm of a stage",
    "tables": "growth table",
}
ORIGIN_OF_EVERY_RULE = frozenset({"id", "because", "sources", "provenance", "strength", "local", "note"}) | {
    "evidence",
    "indirect",
}
PROVENANCE_WORDS = {
    "read": "read in the source",
    "memory": "FROM MEMORY, to be checked before use",
    "practice": "common practice, no publication",
    "computed": "computed",
    "judgement": "our own judgement",
}


def kind_words(kind: str) -> str:
    """Return the name of a kind in the singular: `gate`, `age window`."""
    return KIND_WORDS.get(kind, plain_words(kind))


def statement(entry: BaseModel, protocol: Protocol) -> str:
    """Return what an entry of the protocol says, in words; fields by name for a kind without words of its own."""
    say = _STATEMENTS.get(type(entry))
    return say(entry, protocol) if say is not None else _fields(entry)


def origin_words(entry: Any, protocol: Protocol) -> str:
    """Return how well a rule is known: `read in the source; series`, with `local` where it is the clinic's.

    What was read only on pages, or only as quoted by others, says so.
    """
    if not hasattr(entry, "provenance"):
        return ""
    words = PROVENANCE_WORDS.get(entry.provenance, entry.provenance)
    resting = f" ({resting})" if (resting := resting_words(entry, protocol)) else ""
    strength = f"; {plain_words(entry.strength)}" if hasattr(entry, "strength") else ""
    return f"{'local; ' if getattr(entry, 'local', False) else ''}{words}{resting}{strength}"


def value_of_field(value: Any, protocol: Protocol) -> str:
    """Return the value of a field as it is read: conditions in words, lists with commas."""
    if isinstance(value, model.Condition):
        return condition_words(value, protocol)
    if isinstance(value, BaseModel):
        return statement(value, protocol)
    if isinstance(value, bool):
        return plain_words(value)
    if isinstance(value, tuple):
        return ", ".join(value_of_field(item, protocol) for item in value) or "none"
    return "nothing" if value is None or value == "" else f"{value:g}" if isinstance(value, float) else str(value)


def _fields(entry: BaseModel) -> str:
    given = sorted(entry.model_fields_set - ORIGIN_OF_EVERY_RULE)
    return "; ".join(f"{plain_words(name)} {getattr(entry, name)}" for name in given) + "."


def _indication(rule: model.Indication, protocol: Protocol) -> str:
    verb = "may be done" if rule.optional else "is needed"
    when = " once growth has ended" if rule.at_maturity else ""
    return f"{protocol.stage(rule.stage).label} {verb}{when} when {condition_words(rule.when, protocol)}."


def _gate(rule: model.Gate, protocol: Protocol) -> str:
    number = f" {rule.number}" if rule.number is not None else ""
    guarded = f"{protocol.stage(rule.guards).label.lower()}{number}"
    text = f"Before {guarded}: {condition_words(rule.requires, protocol)}."
    if rule.otherwise is not None:
        text += f" If not met, it is corrected by {protocol.stage(rule.otherwise).label.lower()}."
    text += " What corrects it may fail." if rule.may_stay else ""
    text += f" Assessed again {_months(rule.look_again_months)} before."
    return text if rule.waivable else f"{text} Cannot be waived."


def _contraindication(rule: model.Contraindication, protocol: Protocol) -> str:
    label = protocol.stage(rule.stage).label
    text = f"{label} is outside the protocol when {condition_words(rule.when, protocol)}."
    return f"{text} Instead: {protocol.stage(rule.instead).label.lower()}." if rule.instead else text


def _interval(rule: model.Interval, protocol: Protocol) -> str:
    earlier, later = protocol.stage(rule.earlier_stage).label, protocol.stage(rule.later_stage).label
    if rule.at_least_months == 0 and rule.at_most_months == 0:
        span = "on the day of"
    else:
        bounds = [("at least", rule.at_least_months), ("at most", rule.at_most_months)]
        span = " and ".join(f"{word} {_months(months)}" for word, months in bounds if months is not None) + " after"
    point, verb = rule.earlier.rpartition(".")[2], {"start": "starts", "end": "ends"}[rule.later.rpartition(".")[2]]
    if rule.next and rule.earlier_stage == rule.later_stage:
        grows = rule.while_growth_left_mm
        tail = "" if grows is None else f", while the bone has more than {grows:g} mm left to grow"
        return f"The next {later.lower()} {verb} {span} the {point} of the previous one{tail}."
    later = f"The next {later.lower()}" if rule.next else later
    text = f"{later} {verb} {span} the {point} of {earlier.lower()}"
    text += ", in either order" if rule.either_order else ", each of its number" if rule.paired else ""
    return text + (", while neither is done." if rule.together else ".")


def _age_window(rule: model.AgeWindow, protocol: Protocol) -> str:
    number = f" {rule.number}" if rule.number is not None else ""
    of = f" of a {rule.sex}" if rule.sex else ""
    bounds = [("from", rule.at_least_months), ("to", rule.at_most_months)]
    ages = " ".join(f"{word} {age_words(months / 12)}" for word, months in bounds if months is not None)
    force = "this is binding" if rule.hard else "this is guidance"
    if rule.or_after_growth_months is not None:
        ages += f", or {_months(rule.or_after_growth_months)} after the end of growth where that is later"
    return f"{protocol.stage(rule.stage).label}{number}{of} starts {ages}; {force}."


def _amount_limit(rule: model.AmountLimit, protocol: Protocol) -> str:
    most = f"{rule.most_mm:g} mm" if rule.most_mm is not None else f"{rule.most_percent or 0:g} % of the bone"
    ages = f" from {rule.from_age_years:g} years" if rule.from_age_years > 0 else ""
    ages += f" before {rule.to_age_years:g} years" if "to_age_years" in rule.model_fields_set else ""
    force = " Shown as a warning, not enforced." if rule.warns else ""
    only = f" where {condition_words(rule.when, protocol)}" if rule.when is not None else ""
    return f"{protocol.stage(rule.stage).label}: at most {most} at once{ages}{only}.{force}"


def _span(rule: model.SpanRule, protocol: Protocol) -> str:
    label = protocol.stage(rule.stage).label
    joint = {"knee": "knee spanned", "pelvis": "device extended to the pelvis"}[rule.joint]
    return f"{label}: {joint} ({rule.need}) where {condition_words(rule.when, protocol)}."


def _device(rule: model.Device, protocol: Protocol) -> str:
    how = {
        "usual": "the usual device of the bone",
        "by_cost": "chosen where it costs less by the weights of the rules",
        "offered": "offered, never chosen by the program",
        "ask_only": "never chosen: ask a centre that uses it",
    }[rule.choice]
    parts = [f"{rule.label.capitalize()} ({rule.bone}): {how}"]
    if rule.least_age_years:
        read = f" (the youngest published was {rule.youngest_read_years:g})" if rule.youngest_read_years else ""
        parts.append(f"from {rule.least_age_years:g} years{read}")
    if rule.most_growth_left_mm is not None:
        parts.append(f"once the bone has {rule.most_growth_left_mm:g} mm or less left to grow")
    if rule.most_mm is not None:
        parts.append(f"{rule.least_mm or 0:g} to {rule.most_mm:g} mm")
    if rule.usual_mm is not None:
        parts.append(f"usually {rule.usual_mm[0]:g} to {rule.usual_mm[1]:g} mm")
    if rule.months_per_cm is not None:
        parts.append(f"{rule.months_per_cm:g} months for each cm")
    parts.append("spans a knee" if rule.spans_knee else "spans no joint")
    if rule.tested is not None:
        parts.append(f"requires: {condition_words(rule.tested, protocol)}")
    if rule.outgrown:
        parts.append(f"as the child grows these are asked anew: {', '.join(map(plain_words, rule.outgrown))}")
    if rule.checks:
        parts.append(f"to be checked: {'; '.join(rule.checks)}")
    if rule.not_entered:
        parts.append(f"not entered by the clinic: {', '.join(rule.not_entered)}")
    said = f"{'; '.join(parts)}. {rule.removal_words} {rule.walking_words}"
    return f"{said} {rule.complications}".rstrip()


def _value(rule: model.Value, _protocol: Protocol) -> str:
    span = f" (from {rule.low:g} to {rule.high:g})" if rule.low is not None and rule.high is not None else ""
    return f"{plain_words(rule.id)}: {rule.value:g} {rule.unit}{span}."


_HOW = {
    "each_side": "goes by the findings of each leg",
    "shorter_leg": "is for the shorter leg, by the difference as measured",
    "child": "is done once for the child",
    "refused": "is not planned",
}


def _both_sided(rule: model.BothSided, protocol: Protocol) -> str:
    only = f" where {condition_words(rule.when, protocol)}" if rule.when is not None else ""
    return f"Both legs affected: {protocol.stage(rule.stage).label} {_HOW[rule.how]}{only}."


def _caution(rule: model.Caution, protocol: Protocol) -> str:
    labels = ", ".join(protocol.stage(stage).label.lower() for stage in rule.stages)
    shown = "for a child affected on both sides" if rule.bilateral else f"with {labels}" if labels else "on every plan"
    only = f", where {condition_words(rule.when, protocol)}" if rule.when is not None else ""
    return f"Shown {shown}{only}: {rule.text}"


def _stop_rule(rule: model.StopRule, protocol: Protocol) -> str:
    return f"During {protocol.stage(rule.stage).label.lower()}: {rule.text}"


def _type(rule: model.Type, protocol: Protocol) -> str:
    scheme = plain_words(scheme_of(protocol, rule))
    return f"Type {rule.type} of {scheme} ({rule.label}): {condition_words(rule.when, protocol)}."


def _classification(rule: model.Classification, protocol: Protocol) -> str:
    children = ", ".join(protocol.diagnosis(name).label for name in rule.applies_to)
    text = f"{rule.label}, for {children}: types {', '.join(kind.type for kind in rule.types)}."
    return f"{text} {rule.gap}" if rule.gap else text


def _stage(rule: model.Stage, protocol: Protocol) -> str:
    text = f"{rule.label}: {rule.what}"
    if rule.duration_months:
        text += f" Takes {_months(rule.duration_months)}."
    if rule.most > 1:
        text += f" At most {rule.most} times."
    for verb, names in (("Meant to correct", rule.mends), ("Measured again afterwards", rule.alters)):
        if names:
            text += f" {verb}: {', '.join(protocol.finding(name).label for name in names)}."
    return text


def _finding(rule: model.FindingRule, _protocol: Protocol) -> str:
    unit = f" {rule.unit}" if rule.unit not in WITHOUT_UNIT and rule.unit else ""
    text = f"{rule.label}: "
    if rule.kind == "number" and rule.plausible is not None:
        text += f"from {rule.plausible[0]:g} to {rule.plausible[1]:g}{unit}, error ±{rule.sd:g}{unit}"
    else:
        text += "yes or no" if rule.kind == "flag" else ", ".join(plain_words(choice) for choice in rule.choices)
    text += f"; valid for {_months(rule.valid_months)}" if rule.valid_months else "; does not expire"
    text += f"; calculated from {', '.join(rule.derived_from)}" if rule.derived_from else ""
    return f"{text}. Measured by: {rule.how}."


def _method(rule: model.Method, _protocol: Protocol) -> str:
    error = "" if rule.length_sd_mm is None else f": measurement error of a length ±{rule.length_sd_mm:g} mm"
    return f"{rule.label}{error}."


def _skeletal_method(rule: model.SkeletalMethod, protocol: Protocol) -> str:
    ages = " and ".join(f"{sex} from {low:g} to {high:g} years" for sex, (low, high) in _by_sex(rule))
    stages = "" if rule.stages is None else f" Stages as in {rule.stages}."
    error = f"error of one reading ±{protocol.number(rule.sd_value):g} years"
    return f"{rule.label}: {error}; {ages} of skeletal age.{stages}"


def _by_sex(rule: model.SkeletalMethod) -> tuple[tuple[str, tuple[float, float]], ...]:
    return ("girls", rule.girls), ("boys", rule.boys)


def _diagnosis(rule: model.Diagnosis, _protocol: Protocol) -> str:
    bones = ", ".join(rule.bones)
    return f"{rule.label}: the difference follows the {rule.growth_pattern} pattern; bones lengthened: {bones}."


def _source(rule: model.Source, _protocol: Protocol) -> str:
    parts = [rule.citation, rule.found_at or rule.no_address, f"Seen: {rule.seen}" if rule.seen else ""]
    return ". ".join(part.rstrip(".") for part in parts if part) + "."


def _table(rule: model.Table, _protocol: Protocol) -> str:
    return f"{rule.name}: {len(rule.rows)} rows of {', '.join(rule.columns)}."


def _goal(rule: model.Goal, protocol: Protocol) -> str:
    about = protocol.stage(rule.stage).label if rule.stage else "The whole treatment"
    text = f"{about}, {rule.when}: {rule.target}".rstrip(".") + "."
    return text if rule.requires is None else f"{text} Test: {condition_words(rule.requires, protocol)}."


def _follow_up(rule: model.FollowUp, protocol: Protocol) -> str:
    until = f" until {_months(rule.until_months)} after its end" if rule.until_months is not None else ""
    only = f" where {condition_words(rule.when, protocol)}" if rule.when is not None else ""
    every = f"{protocol.stage(rule.stage).label}: every {_months(rule.every_months)}{until}{only}"
    return f"{every}: {rule.text}".rstrip(".") + "."


def _accompanying(rule: model.Accompanying, protocol: Protocol) -> str:
    def when(point: str, months: int) -> str:
        side = "before" if months < 0 else "after"
        return f"its {point}" if months == 0 else f"{_months(abs(months))} {side} its {point}"

    with_stages = " or ".join(protocol.stage(name).label.lower() for name in rule.around)
    number = f", number {rule.number}" if rule.number is not None else ""
    span = f"from {when(rule.from_point, rule.from_months)} to {when(rule.until_point, rule.until_months)}"
    day = "all the time" if rule.lasts else "on a day"
    return f"{protocol.stage(rule.stage).label} with {with_stages}{number}: {day} {span}."


def _printed_programme(rule: model.PrintedProgramme, protocol: Protocol) -> str:
    children = ", ".join(protocol.diagnosis(name).label for name in rule.diagnoses)
    meant = f"{rule.label[0].upper()}{rule.label[1:]}, for {children}"
    if rule.predicted_mm is not None:
        meant += f" with {rule.predicted_mm[0]:g} to {rule.predicted_mm[1]:g} mm predicted"
    if rule.start_age_years is not None:
        meant += f", begun at {rule.start_age_years[0]:g} to {rule.start_age_years[1]:g} years"
    if rule.road == "prosthetic":
        parts = ["the prosthetic road"]
    else:
        parts = [value_of_field(step, protocol).rstrip(".") for step in rule.steps]
        parts.append(f"{rule.most_lengthenings} lengthenings at most" if rule.steps else "no lengthening")
        parts.append("growth arrest may be part of it" if rule.growth_arrest else "no growth arrest")
    needs = f" Needs: {rule.needs}." if rule.needs else ""
    return f"{meant}: {'; '.join(parts)}.{needs} Rules out: {rule.rules_out}"


def _printed_step(step: model.PrintedStep, protocol: Protocol) -> str:
    number = f" {step.number}" if step.number is not None else ""
    ages = f" from {step.from_age_years:g}" if step.from_age_years else ""
    ages += f" to {step.to_age_years:g}" if step.to_age_years is not None else ""
    ages += " years" if ages else ""
    amounts = f", {step.least_mm:g} to {step.most_mm:g} mm" if step.most_mm is not None else ""
    devices = " or ".join(protocol.device(name).label for name in step.devices)
    return f"{protocol.stage(step.stage).label.lower()}{number}{ages}{amounts}{f', {devices}' if devices else ''}."


def _companion(rule: model.Companion, protocol: Protocol) -> str:
    children = ", ".join(protocol.diagnosis(name).label for name in rule.diagnoses)
    shares = [f"{share:g}" for share in (rule.share_low_percent, rule.share_high_percent) if share is not None]
    often = f" in {' to '.join(dict.fromkeys(shares))} of 100" if shares else ""
    return f"{rule.label}, with {children}{often}. Look for: {rule.look_for}".rstrip(".") + "."


def _implant(rule: model.Implant, _protocol: Protocol) -> str:
    lengths = ", ".join(f"{length:g}" for length in rule.lengths_mm)
    part = "blade" if rule.design == "blade_plate" else "screw"
    return f"{rule.label}: {rule.angle_deg:g} deg between {part} and shaft, {part} of {lengths} mm."


def _preference_set(rule: model.PreferenceSet, _protocol: Protocol) -> str:
    factors = ", ".join(f"{factor.weight} x{factor.times:g}" for factor in rule.factors)
    when = "always in force here" if rule.default else "in force where the family wishes for it"
    return f"{plain_words(rule.id).capitalize()}: {factors}; {when}. In plain words: {rule.family_words}"


def _disagreement(rule: model.Disagreement, _protocol: Protocol) -> str:
    sides = "; ".join(
        f"{side.value} ({', '.join(side.sources)}; {PROVENANCE_WORDS.get(side.provenance, side.provenance)})"
        for side in rule.sides
    )
    return f"{rule.topic.rstrip('.')}: {sides}. Followed: {rule.followed}."


def _evidence(rule: model.Evidence, _protocol: Protocol) -> str:
    counts = f" Counts: {rule.counts}." if rule.counts else ""
    head = f"{rule.quantity[:1].upper()}{rule.quantity[1:]} ({rule.directness} evidence): {rule.found}"
    return f"{head} In: {rule.population}.{counts} A rule may say: {rule.may_say}."


def _harm(rule: model.Harm, _protocol: Protocol) -> str:
    stratum = f", {rule.stratum}" if rule.stratum else ""
    text = f"{plain_words(rule.what).capitalize()}{stratum}: {_counted(rule)} ({rule.population})."
    amounts = [f"{name} {_spread(value)}" for name, value in _amounts(rule) if value is not None]
    if rule.percent_range is not None:
        low, high = rule.percent_range
        amounts.append(f"percent of the bone about {low:g} to {high:g} ({rule.percent_basis})")
    text += f" {'; '.join(amounts).capitalize()}." if amounts else ""
    meant = [rule.treated, f"lasts {rule.lasts}" if rule.lasts else ""]
    meant += [f"{value:g} {one if value == 1 else many} each" for value, one, many in _costs(rule) if value is not None]
    text += f" What it meant: {', '.join(part for part in meant if part)}." if any(meant) else ""
    behind = " Behind the pooled table." if rule.fit else ""
    directness = f"{rule.directness.capitalize()} evidence: {rule.indirect}."
    return f"{text} {directness}{behind} In plain words: {rule.family_words}"


def _stage_harm(rule: model.StageHarm, protocol: Protocol) -> str:
    at = "every operation" if rule.operations else ", ".join(protocol.stage(kind).label.lower() for kind in rule.stages)
    often = "how often is not carried here"
    if rule.outcome is not None:
        often = f"as often as the pooled table has {plain_words(rule.outcome)} at the planned amount"
    elif rule.count is not None:
        often = f"as often as counted in {rule.count}"
    elif rule.of_100 is not None:
        often = f"{rule.of_100:g} of 100, printed of {rule.cases} cases"
    kept = f" Counted of a clinic where it records {_listed(rule.complications)}." if rule.complications else ""
    return f"{rule.label[:1].upper()}{rule.label[1:]} at {at}: {often}.{kept} In plain words: {rule.family_words}"


def _listed(names: Iterable[str]) -> str:
    return " or ".join(name.replace("_", " ") for name in names)


def _counted(rule: model.Harm) -> str:
    unit = _PLURALS[rule.unit]
    if rule.kind == "mean":
        group = f" in {rule.of:g} {unit}" if rule.of is not None else ""
        span = f" ({rule.low:g} to {rule.high:g})" if rule.low is not None and rule.high is not None else ""
        return f"mean {rule.n:g}{span}{group}"
    return f"{rule.n:g} {'events in' if rule.kind == 'count' else 'of'} {rule.of or 0:g} {unit}"


_PLURALS = {"lengthening": "lengthenings", "child": "children", "limb": "limbs", "hip": "hips", "bone": "bones"}


def _amounts(rule: model.Harm) -> tuple[tuple[str, Spread | None], ...]:
    return ("gain in mm", rule.amount_mm), ("percent of the bone", rule.percent), ("age in years", rule.age_years)


def _costs(rule: model.Harm) -> tuple[tuple[float | None, str, str], ...]:
    operations = rule.operations, "unplanned operation", "unplanned operations"
    return (rule.months, "month", "months"), (rule.lost_mm, "mm lost", "mm lost"), operations


def _spread(value: Spread) -> str:
    middle = "" if value.centre is None else f"{value.centre:g}"
    ends = [f"{end:g}" for end in (value.low, value.high) if end is not None]
    span = f"{' to '.join(ends)}" if len(ends) == 2 else f"at most {ends[0]}" if ends else ""
    sd = f"SD {value.sd:g}" if value.sd is not None else ""
    rest = ", ".join(part for part in (span, sd) if part)
    return f"{middle} ({rest})" if middle and rest else middle or rest


def _months(months: int) -> str:
    return "1 month" if months == 1 else f"{months} months"


def _calendar(rule: model.ClinicCalendar, protocol: Protocol) -> str:
    days = ", ".join(day.capitalize() for day in rule.operating_weekdays)
    closed = "; ".join(_blocked(item, protocol) for item in rule.blocked) or "no weeks closed"
    holidays = "; ".join(_holiday(item, protocol) for item in rule.school_holidays) or "none given"
    return f"Operations on {days}; {closed}; school holidays: {holidays}."


def _holiday(item: SchoolHoliday, _: Protocol) -> str:
    return f"{item.name} {item.from_date} to {item.to_date}"


def _blocked(item: BlockedWeeks, _: Protocol) -> str:
    return f"closed {item.from_date} to {item.to_date} ({item.reason})"


_STATEMENTS: dict[type[BaseModel], Callable[[Any, Protocol], str]] = {
    model.Indication: _indication,
    model.Gate: _gate,
    model.Contraindication: _contraindication,
    model.Interval: _interval,
    model.AgeWindow: _age_window,
    model.AmountLimit: _amount_limit,
    model.SpanRule: _span,
    model.BothSided: _both_sided,
    model.Device: _device,
    model.Value: _value,
    model.Caution: _caution,
    model.StopRule: _stop_rule,
    model.Type: _type,
    model.Classification: _classification,
    model.Stage: _stage,
    model.FindingRule: _finding,
    model.Method: _method,
    model.SkeletalMethod: _skeletal_method,
    model.Diagnosis: _diagnosis,
    model.Source: _source,
    model.Table: _table,
    model.Goal: _goal,
    model.FollowUp: _follow_up,
    model.Accompanying: _accompanying,
    model.PrintedProgramme: _printed_programme,
    model.PrintedStep: _printed_step,
    model.Companion: _companion,
    model.Implant: _implant,
    model.PreferenceSet: _preference_set,
    model.Evidence: _evidence,
    model.Disagreement: _disagreement,
    model.Harm: _harm,
    model.StageHarm: _stage_harm,
    model.ClinicCalendar: _calendar,
    SchoolHoliday: _holiday,
    BlockedWeeks: _blocked,
}
