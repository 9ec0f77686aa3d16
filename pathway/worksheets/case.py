"""What every worksheet is given, and what it makes of it: the case, its inputs, the finished sheet."""

from __future__ import annotations

import datetime
import difflib
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from pathway.growth import Posterior
from pathway.plan.model import Plan, PlanStage
from pathway.problems import Problem, Refused
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Leg, Record, Side
from pathway.rule_engine.findings import Findings, Known, findings_on
from pathway.worksheets.sheet import (
    CHECK_THE_RADIOGRAPH,
    Drawing,
    Input,
    InputValue,
    Kind,
    Origin,
    Section,
    Sheet,
    SheetSource,
    Warning,
    problem,
)

WORDS_OF_A_FLAG = {"yes": True, "true": True, "no": False, "false": False}


@dataclass(frozen=True, slots=True)
class Case:
    """A child on a day, with the plan and the plan's stage that the sheet is opened for where there are any.

    `posterior` is the growth of the child as known on the day; None where nothing was ever measured.
    """

    record: Record
    protocol: Protocol
    on: datetime.date
    plan: Plan | None = None
    stage: PlanStage | None = None
    findings: Findings = field(default_factory=dict)
    posterior: Posterior | None = None
    done_on: datetime.date | None = None
    """The day on which the operation of the stage was done by the whole record, later entries too; None: not done."""

    @property
    def side(self) -> Side:
        """Return the side that is treated."""
        return self.record.affected_side


def case_of(
    question: Question, plan: Plan | None = None, stage: PlanStage | None = None, posterior: Posterior | None = None
) -> Case:
    """Return the case with its findings of the day looked up."""
    known = question.record.until(question.on)
    return Case(
        known,
        question.protocol,
        question.on,
        plan,
        stage,
        findings_on(question.about(known)),
        posterior,
        _done_on(question.record, stage),
    )


def _done_on(record: Record, stage: PlanStage | None) -> datetime.date | None:
    """Return the day of the operation that a stage is: of its kind the first, second … by its number."""
    if stage is None or stage.number < 1:
        return None
    days = sorted(one.date for one in record.operations if one.kind == stage.kind)
    return days[stage.number - 1] if stage.number <= len(days) else None


@dataclass(frozen=True, slots=True)
class Inputs:
    """The inputs of one sheet, by name, in the order in which they are shown."""

    kind: Kind
    items: tuple[Input, ...]

    def item(self, name: str) -> Input:
        """Return an input; raises KeyError for a name the worksheet does not have."""
        return next(item for item in self.items if item.name == name)

    def value(self, name: str) -> InputValue:
        """Return the value of an input, None where an optional one is not given; raises Refused where missing."""
        item = self.item(name)
        if item.value is None and not item.optional:
            wanted = _wanted(item)
            do = f"measure it, or give it with --set {name}=…" if item.sources else f"give it with --set {name}=…"
            raise problem(self.kind, name, "no value", wanted, do)
        return item.value

    def number(self, name: str) -> float:
        """Return a number that must be there, in the input's unit; raises Refused where it is missing."""
        return float(self.value(name))  # type: ignore[arg-type]

    def maybe(self, name: str) -> float | None:
        """Return a number, or None where it is not known."""
        value = self.item(name).value
        return None if value is None else float(value)  # type: ignore[arg-type]

    def text(self, name: str) -> str:
        """Return a choice that must be there; raises Refused where it is missing."""
        return str(self.value(name))

    def day(self, name: str) -> datetime.date:
        """Return a day that must be there; raises Refused where it is missing."""
        return self.value(name)  # type: ignore[return-value]

    def numbers(self, name: str) -> tuple[float, ...]:
        """Return a list that must be there; raises Refused where it is missing."""
        return self.value(name)  # type: ignore[return-value]

    def having(self, name: str, **changes: object) -> Inputs:
        """Return the inputs with one of them changed (a default that depends on another input)."""
        items = (item.model_copy(update=changes) if item.name == name else item for item in self.items)
        return replace(self, items=tuple(items))


def from_finding(
    case: Case, finding: str, leg: Leg = "affected", *, name: str = "", label: str = "", optional: bool = False
) -> Input:
    """Return an input with the latest value of a finding; a value out of date is used and says so."""
    rule = case.protocol.finding(finding)
    latest = case.findings.get((finding, leg))
    blank = Input(
        name=name or finding,
        label=label or rule.label,
        unit=rule.unit,
        kind={"number": "number", "choice": "choice", "flag": "flag"}[rule.kind],
        plausible=rule.plausible,
        choices=rule.choices,
        sources=rule.sources,
        optional=optional,
    )
    known = latest if isinstance(latest, Known) else None if latest is None else latest.last
    if known is None:
        return blank
    note = "" if isinstance(latest, Known) or latest is None else latest.because
    return blank.model_copy(
        update={
            "value": known.value,
            "origin": "visit",
            "measured_on": known.measured_on,
            "method": known.method,
            "note": note and f"out of date: {note}",
        }
    )


def from_rule(case: Case, value: str, label: str, *, name: str = "", optional: bool = False) -> Input:
    """Return an input whose default is a number of the protocol (`[[value]]`).

    What may be set by hand is its `plausible`, else the spread from `low` to `high`.
    """
    rule = case.protocol.value(value)
    bounds = rule.plausible or (None if rule.low is None or rule.high is None else (rule.low, rule.high))
    return Input(
        name=name or value,
        label=label,
        value=rule.value,
        unit=rule.unit,
        plausible=bounds,
        origin="protocol",
        sources=rule.sources,
        note=rule.because,
        local=rule.local,
        optional=optional,
    )


def blank(
    case: Case,
    bound: str,
    name: str,
    label: str,
    *,
    value: InputValue = None,
    origin: Origin = "none",
    **details: object,
) -> Input:
    """Return an input without a default of its own; what may be set by hand is that of the rule `bound`."""
    rule = case.protocol.value(bound)
    empty = Input(name=name, label=label, unit=rule.unit, plausible=rule.plausible, value=value, origin=origin)
    return empty.model_copy(update=details)


def set_by_hand(kind: Kind, items: Iterable[Input], settings: Mapping[str, str]) -> Inputs:
    """Return the inputs with those given by hand put in.

    Raises Refused with every fault: an unknown name (with the one that was probably meant), text that is
    not of the input's kind, a value outside what is plausible.
    """
    found, faults = list(items), []
    at = {item.name: place for place, item in enumerate(found)}
    settable = [item.name for item in found if item.settable]
    for name, text in settings.items():
        if name not in settable:
            near = difflib.get_close_matches(name, settable, 1)
            do = f"did you mean {near[0]}?" if near else "use one of these names"
            expected = f"one of {', '.join(settable)}"
            faults.append(Problem(f"worksheet {kind}", "--set", None, f"the input {name!r}", expected, do.rstrip("?")))
            continue
        item = found[at[name]]
        value = _read(item, text)
        if value is None:
            faults.append(Problem(f"worksheet {kind}", name, None, repr(text), _wanted(item), "correct it"))
            continue
        by_hand = {"origin": "by_hand", "measured_on": None, "method": "", "sources": (), "note": "", "local": False}
        found[at[name]] = item.model_copy(update={"value": value, **by_hand})
    if faults:
        raise Refused(*faults)
    return Inputs(kind, tuple(found))


def made(
    case: Case,
    inputs: Inputs,
    title: str,
    sections: Iterable[Section],
    warnings: Iterable[Warning] = (),
    drawings: Iterable[Drawing] = (),
    side: str = "",
    stages: Iterable[str] = (),
) -> Sheet:
    """Return the finished sheet: cautions of the protocol put on it, sources looked up.

    `stages` are the kinds of stage whose cautions belong to a sheet that was opened for no stage of a plan.

    Raises Refused when a number came out that is not finite: the inputs do not fit each other.
    """
    parts, told = tuple(sections), tuple(warnings)
    both = case.record.child.affected_side == "both"
    cautions = [item for item in case.protocol.cautions if item.head or (item.bilateral and both)]
    cautions += [item for item in case.protocol.cautions if not (item.head or item.bilateral or item.stages)]
    kinds = set(stages) if case.stage is None else {case.stage.kind}
    said = {item.text for item in case.plan.cautions} if case.plan is not None else set()
    own = [item for item in case.protocol.cautions if kinds & set(item.stages)]
    cautions += [item for item in own if item.when is None or item.text in said]
    ordered = sorted(cautions, key=lambda item: not item.head)
    cited = _cited(inputs, parts, told) | {id for item in ordered for id in item.sources}
    sheet = Sheet(
        kind=inputs.kind,
        title=title,
        child=case.record.child.id,
        side=side or case.side,
        on=case.on,
        stage=case.stage.id if case.stage is not None else None,
        inputs=inputs.items,
        sections=parts,
        warnings=told,
        drawings=tuple(drawings),
        cautions=(*dict.fromkeys(item.text for item in ordered), CHECK_THE_RADIOGRAPH),
        sources=tuple(
            SheetSource(id=source.id, citation=source.citation, address=source.found_at, seen=source.seen)
            for source in case.protocol.sources
            if source.id in cited
        ),
    )
    _finite(sheet)
    return sheet


def _cited(inputs: Inputs, sections: tuple[Section, ...], warnings: tuple[Warning, ...]) -> set[str]:
    cited = {id for item in inputs.items for id in item.sources}
    cited |= {id for item in warnings for id in item.sources}
    for section in sections:
        cited |= {id for line in section.lines for id in line.sources}
        cited |= {id for table in section.tables for id in table.sources}
    return cited


def _finite(sheet: Sheet) -> None:
    for section in sheet.sections:
        named = [(line.label, (line.value, *(line.spread or ()))) for line in section.lines]
        named += [(table.title, row) for table in section.tables for row in table.rows]
        for label, values in named:
            if any(isinstance(value, float) and not math.isfinite(value) for value in values):
                found = f"no finite number for {label!r}"
                raise problem(sheet.kind, "inputs", found, "inputs that fit each other", "check the values set")


def _wanted(item: Input) -> str:
    unit = f" {item.unit}" if item.unit else ""
    match item.kind:
        case "choice":
            return f"one of {', '.join(item.choices)}"
        case "day":
            return "a date (YYYY-MM-DD)"
        case "flag":
            return "yes or no"
        case "text":
            return item.written
    what = {"number": "a number", "whole": "a whole number", "list": "numbers with commas between them"}[item.kind]
    if item.plausible is None:
        return f"{what}{f' in{unit}' if unit else ''}"
    return f"{what} from {item.plausible[0]:g} to {item.plausible[1]:g}{unit}"


def _read(item: Input, text: str) -> InputValue:
    """Return the value that the text stands for; None where it stands for none that can be."""
    text = text.strip()
    match item.kind:
        case "choice":
            return text if text in item.choices else None
        case "text":
            return text or None
        case "flag":
            return WORDS_OF_A_FLAG.get(text.lower())
        case "day":
            try:
                return datetime.date.fromisoformat(text)
            except ValueError:
                return None
        case "list":
            numbers = [_number(item, part) for part in text.split(",")]
            return None if any(number is None for number in numbers) else tuple(n for n in numbers if n is not None)
    number = _number(item, text)
    return None if item.kind == "whole" and number is not None and number != int(number) else number


def _number(item: Input, text: str) -> float | None:
    try:
        number = float(text)
    except ValueError:
        return None
    if not math.isfinite(number):
        return None
    low, high = item.plausible or (-math.inf, math.inf)
    return number if low <= number <= high else None
