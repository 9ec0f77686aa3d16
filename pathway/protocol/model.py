"""The shape of the protocol: what a rule file may say.

Every clinical number of the program stands in `rules/`, in one of these shapes, with the ids of its sources.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import cached_property
from typing import Any, Literal

from pydantic import model_validator

from pathway.protocol.base import Condition as Condition
from pathway.protocol.base import Provenance as Provenance
from pathway.protocol.base import Role as Role
from pathway.protocol.base import Rule as Rule
from pathway.protocol.base import Source as Source
from pathway.protocol.base import Sourced as Sourced
from pathway.protocol.base import Stands as Stands
from pathway.protocol.base import Strength as Strength
from pathway.protocol.clinic import ClinicCalendar as ClinicCalendar
from pathway.protocol.device import Device as Device
from pathway.protocol.guidance import Accompanying as Accompanying
from pathway.protocol.guidance import Companion as Companion
from pathway.protocol.guidance import Disagreement as Disagreement
from pathway.protocol.guidance import Evidence as Evidence
from pathway.protocol.guidance import FollowUp as FollowUp
from pathway.protocol.guidance import Goal as Goal
from pathway.protocol.guidance import Implant as Implant
from pathway.protocol.harm import Harm as Harm
from pathway.protocol.harm import StageHarm as StageHarm
from pathway.protocol.maturity import SkeletalMethod as SkeletalMethod
from pathway.protocol.preference_sets import PreferenceSet as PreferenceSet
from pathway.protocol.printed_programme import PrintedProgramme as PrintedProgramme
from pathway.protocol.printed_programme import PrintedStep as PrintedStep
from pathway.protocol.units import FindingUnit
from pathway.record import Frozen

Lane = Literal["hip", "knee_and_ankle", "length", "other_leg", "checks"]
Bone = Literal["femur", "tibia"]


class FindingRule(Sourced):
    """A named measurement or observation: unit, plausible range, error and how long it stays valid.

    `of` says whether it belongs to a limb or to the whole child. `derived` findings are worked out from
    others (`derived_from`) and cannot be entered. `sd` is the measurement error (one standard deviation) in the unit.
    `family_words` say in plain words what it tells, from "how" or "whether" on. `of_complications`, of a flag: it is
    set by the record, where one of these complications is kept with a lengthening of the affected leg.
    """

    id: str
    label: str
    family_words: str | None = None
    unit: FindingUnit
    kind: Literal["number", "choice", "flag"]
    of: Literal["limb", "child"] = "limb"
    plausible: tuple[float, float] | None = None
    choices: tuple[str, ...] = ()
    sd: float = 0.0
    valid_months: int | None = None
    derived: bool = False
    derived_from: tuple[str, ...] = ()
    of_complications: tuple[str, ...] = ()
    how: str

    @model_validator(mode="after")
    def _complete(self) -> FindingRule:
        if self.kind == "number" and self.plausible is None:
            raise ValueError("a number needs `plausible = [low, high]`")
        if self.kind == "choice" and not self.choices:
            raise ValueError("a choice needs `choices`")
        if self.of_complications and not (self.kind == "flag" and self.derived):
            raise ValueError("`of_complications` is of a derived flag")
        return self


class Method(Sourced):
    """A way of measuring (film, scan, blocks) with its error on a length."""

    id: str
    label: str
    length_sd_mm: float | None = None


class Diagnosis(Sourced):
    """A diagnosis that the protocol knows: how the discrepancy grows and which bones may be lengthened."""

    id: str
    label: str
    growth_pattern: Literal["congenital", "developmental"]
    bones: tuple[Bone, ...]


class Type(Rule):
    """One type of a classification: the condition over findings that puts a child there."""

    type: str
    label: str
    when: Condition


class Classification(Sourced):
    """A published scheme: its types; a child that fits none because findings are missing is undetermined.

    `gap` says in words, and `gap_when` as a test, for which findings the published scheme itself has no type:
    any other findings without a type are a fault of the rules. A scheme that decides nothing here
    has `asks = false`: it is shown where its findings are known, and nobody is asked to measure them for it.
    """

    id: str
    label: str
    applies_to: tuple[str, ...]
    types: tuple[Type, ...]
    gap: str = ""
    gap_when: Condition | None = None
    asks: bool = True


class Stage(Sourced):
    """An operation or treatment of the pathway; `role` says what the planner does with it.

    `duration_months` is the time until the stage's end event; a lengthening's duration comes from its amount
    instead. `mends` are findings it is meant to correct, `alters` findings that must be measured anew after
    it. `most` is how often it may be repeated. `operation` is false for lifts, checks and orthoses. `road` is the road
    that the stage belongs to, where it belongs to one alone: a stage of the prosthetic road is shown with a window
    and never gets a date from the program, one of the lengthening road waits where the other road comes first.
    """

    id: str
    label: str
    lane: Lane
    what: str
    family_words: str
    role: Role | None = None
    bone: Bone | None = None
    gains_in: Bone | None = None
    operation: bool = True
    duration_months: int | None = None
    most: int = 1
    mends: tuple[str, ...] = ()
    alters: tuple[str, ...] = ()
    rank: int = 0
    road: Literal["lengthening", "prosthetic"] | None = None


class Indication(Rule):
    """When a stage is needed; `optional` means that it may be done: family and team choose.

    `at_maturity`: on this ground the stage is done when growth has ended, not before. `likely`: it need not be asked
    for today, but most children come to it. `stands`, of the stage that is the prosthetic road: how the two roads stand
    where this ground holds.
    """

    stage: str
    when: Condition
    optional: bool = False
    at_maturity: bool = False
    likely: bool = False
    stands: Stands | None = None


class Gate(Rule):
    """What must hold before a stage may start; `otherwise` names the stage that would mend a failure.

    `look_again_months` is how long before the stage the findings are measured again. `number` limits it to the n-th
    stage of that kind. `may_stay`: what mends it often does not: a lengthening that fails it today may never come.
    """

    guards: str
    requires: Condition
    number: int | None = None
    may_stay: bool = False
    otherwise: str | None = None
    look_again_months: int = 3
    waivable: bool = True


class Contraindication(Rule):
    """When a stage is outside the protocol; it may be waived with a reason.

    `impossible`: there is nothing to operate on, so that the stage is not part of this child's pathway at all.
    """

    stage: str
    when: Condition
    instead: str | None = None
    impossible: bool = False


class Interval(Rule):
    """Least and most whole months between two events; an event is `stage.start` or `stage.end`.

    Numbered stages: a rule holds for every number of the repeated kind; between two repeated kinds the
    numbers are paired (`femoral_lengthening` 2 with `femoral_device_removal` 2), with `next` each number is
    tied to the following one of the same kind. `together` rules apply only while neither stage is done;
    `either_order` rules to whichever comes first, `paired` rules to stages of one number. A rule with
    `while_growth_left_mm` binds while the lengthened bone has more than that left to grow when the later stage starts.
    """

    earlier: str
    later: str
    at_least_months: int | None = None
    at_most_months: int | None = None
    next: bool = False
    together: bool = False
    either_order: bool = False
    paired: bool = False
    while_growth_left_mm: float | None = None

    @property
    def earlier_stage(self) -> str:
        """Return the stage kind of the earlier event."""
        return self.earlier.rpartition(".")[0]

    @property
    def later_stage(self) -> str:
        """Return the stage kind of the later event."""
        return self.later.rpartition(".")[0]

    @property
    def starts_at_end(self) -> bool:
        """Return whether the later event falls on the very day on which the earlier stage ends."""
        return self.at_most_months == 0 and self.earlier.endswith(".end")


class AgeWindow(Rule):
    """Ages in whole months between which a stage starts; a preferred window guides, a hard one binds.

    `number` limits the rule to the n-th stage of that kind. `latest_useful` windows neither guide nor bind: their end
    is told as the clinical latest age. With `or_after_growth_months` it ends so long after growth where that is later
    than at the age. With `weighs_late` every year after the window counts in the choice of a course, while the
    difference is large.
    """

    stage: str
    number: int | None = None
    at_least_months: int | None = None
    at_most_months: int | None = None
    hard: bool = False
    latest_useful: bool = False
    weighs_late: bool = False
    or_after_growth_months: int | None = None
    sex: Literal["girl", "boy"] | None = None


class AmountLimit(Rule):
    """Most length of one lengthening: in mm or in percent of the bone, within an age range (years).

    `warns` limits are not enforced: a step beyond one says so in every view, to a family in `family_words`. With `when`
    it is a limit only for children for whom that holds; what goes beyond it then weighs in the choice of an amount.
    """

    stage: str
    family_words: str | None = None
    most_mm: float | None = None
    most_percent: float | None = None
    from_age_years: float = 0.0
    to_age_years: float = 99.0
    warns: bool = False
    when: Condition | None = None


class SpanRule(Rule):
    """When the device of a lengthening is carried across a joint: `needed` or `advised`."""

    stage: str
    joint: Literal["knee", "pelvis"]
    need: Literal["needed", "advised"]
    when: Condition


class Value(Rule):
    """A single number that the planner needs, with its source.

    `low` and `high` are its spread as published, `plausible` what may be entered by hand in its place.
    """

    value: float
    unit: str
    low: float | None = None
    high: float | None = None
    plausible: tuple[float, float] | None = None


class BothSided(Rule):
    """What becomes of a stage where both legs are affected.

    `each_side`: judged for each leg by its own findings; `shorter_leg`: only for the leg that is shorter today, for the
    difference between the two as measured; `child`: once for the child; `refused`: no source supports it there. `only`:
    the stage is for such children alone. With `when` the stage is left out of a leg for which it does not hold.
    """

    stage: str
    how: Literal["each_side", "shorter_leg", "child", "refused"]
    only: bool = False
    when: Condition | None = None


class Caution(Rule):
    """A sentence that must be shown: always, when one of `stages` is in the plan, or for a child affected on
    both sides (`bilateral`). The one with `head` stands at the head of every view. With `when` it is shown only where
    that holds.
    """

    text: str
    head: bool = False
    stages: tuple[str, ...] = ()
    bilateral: bool = False
    when: Condition | None = None


class StopRule(Rule):
    """When to slow or stop during a stage.

    `family_words` say in plain words what a family can see of it; none for what only a film or the clinic shows.
    """

    stage: str
    text: str
    family_words: str | None = None


class Table(Frozen):
    """A published table as carried over: columns, rows, unit, and where it comes from."""

    id: str
    name: str
    unit: str
    sex: str
    source: str
    provenance: str
    age: str = ""
    check: str = ""
    note: str = ""
    columns: tuple[str, ...]
    rows: tuple[tuple[str | float, ...], ...]

    def column(self, name: str) -> tuple[float, ...]:
        """Return one column as numbers; raises ValueError when there is no such column."""
        at = self.columns.index(name)
        return tuple(float(row[at]) for row in self.rows)


class SwitchedOff(Frozen):
    """A rule of ours that a clinic switched off, with its reason; `kind` is the part of the protocol it stood in."""

    id: str
    kind: str
    because: str


class Protocol(Frozen):
    """The whole of `rules/`, checked and frozen; `switched_off` lists what a clinic's overlay took out.

    `growth_curve` names the reference curve of the legs: `mixed` between the published ones, with room for each child
    to lean; or one alone: `table` as the multiplier table prints it, `observed` with the end where a cohort was seen to
    end, `dutch_leg_length` the medians of Dutch children of 1997.
    """

    name: str
    version: str
    changed: str
    growth_curve: Literal["mixed", "table", "observed", "dutch_leg_length"] = "table"
    sources: tuple[Source, ...]
    findings: tuple[FindingRule, ...]
    methods: tuple[Method, ...]
    skeletal_methods: tuple[SkeletalMethod, ...] = ()
    diagnoses: tuple[Diagnosis, ...]
    classifications: tuple[Classification, ...]
    stages: tuple[Stage, ...]
    indications: tuple[Indication, ...]
    gates: tuple[Gate, ...]
    contraindications: tuple[Contraindication, ...]
    intervals: tuple[Interval, ...]
    age_windows: tuple[AgeWindow, ...]
    amount_limits: tuple[AmountLimit, ...]
    devices: tuple[Device, ...] = ()
    spans: tuple[SpanRule, ...] = ()
    both_sided: tuple[BothSided, ...] = ()
    values: tuple[Value, ...]
    cautions: tuple[Caution, ...]
    stop_rules: tuple[StopRule, ...]
    goals: tuple[Goal, ...] = ()
    follow_ups: tuple[FollowUp, ...] = ()
    accompanying: tuple[Accompanying, ...] = ()
    printed_programmes: tuple[PrintedProgramme, ...] = ()
    companions: tuple[Companion, ...] = ()
    implants: tuple[Implant, ...] = ()
    preference_sets: tuple[PreferenceSet, ...] = ()
    disagreements: tuple[Disagreement, ...] = ()
    evidence: tuple[Evidence, ...] = ()
    harms: tuple[Harm, ...] = ()
    stage_harms: tuple[StageHarm, ...] = ()
    calendars: tuple[ClinicCalendar, ...] = ()
    tables: tuple[Table, ...]
    complications: tuple[str, ...]
    switched_off: tuple[SwitchedOff, ...] = ()

    def __repr__(self) -> str:
        """Name the version alone: written out, the whole of `rules/` would bury the message of a failing test."""
        return f"Protocol({self.version!r}, {sum(1 for _ in self.rules())} rules)"

    __str__ = __repr__

    def with_parts(self, **parts: object) -> Protocol:
        """Return the protocol with other parts, by their names, and look-up tables of its own: a copy shares them."""
        return Protocol(**{**{name: getattr(self, name) for name in Protocol.model_fields}, **parts})

    @cached_property
    def _words(self) -> dict[int, tuple[Condition, str]]:
        return {}

    def said(self, condition: Condition, say: Callable[[], str]) -> str:
        """Return the words of a condition, made by `say` when first asked for and kept."""
        # The condition is kept with its words, so that no other one can come to stand at its address.
        kept = self._words.get(id(condition))
        if kept is None:
            kept = self._words[id(condition)] = (condition, say())
        return kept[1]

    @cached_property
    def _with_ids(self) -> dict[str, list[tuple[str, Any]]]:
        return {}

    def with_id(self, id: str, every: Callable[[], Iterable[tuple[str, Any]]]) -> tuple[tuple[str, Any], ...]:
        """Return every entry of an id with its kind, from an index of `every` entry that is made once and kept."""
        found = self._with_ids
        if not found:
            for kind, entry in every():
                found.setdefault(entry.id, []).append((kind, entry))
        return tuple(found.get(id, ()))

    @cached_property
    def _by_id(self) -> Mapping[str, Mapping[str, object]]:
        kinds = ("sources", "findings", "methods", "diagnoses", "stages", "values", "tables", "gates", "devices")
        return {kind: {item.id: item for item in getattr(self, kind)} for kind in kinds}

    @cached_property
    def _keys(self) -> dict[int, tuple[Condition, int | None]]:
        return {}

    @cached_property
    def _numbers(self) -> dict[str, int]:
        return {}

    def key_of(self, condition: Condition) -> int | None:
        """Return a number that equal conditions share, so that what was judged once need not be judged again.

        None for a condition that asks for a stage: what is planned changes while the stages are found.
        """
        # Kept with its key, like its words, so that no other condition can come to stand at its address.
        kept = self._keys.get(id(condition))
        if kept is None:
            text = condition.model_dump_json()
            number = self._numbers.setdefault(text, len(self._numbers))
            asks_for_stage = any(leaf.stage is not None for leaf in condition.leaves())
            kept = self._keys[id(condition)] = (condition, None if asks_for_stage else number)
        return kept[1]

    @cached_property
    def _grounds(self) -> Mapping[str, tuple[tuple[Indication, ...], tuple[Contraindication, ...], tuple[Gate, ...]]]:
        return {
            stage.id: (
                tuple(rule for rule in self.indications if rule.stage == stage.id),
                tuple(rule for rule in self.contraindications if rule.stage == stage.id),
                tuple(gate for gate in self.gates if gate.guards == stage.id),
            )
            for stage in self.stages
        }

    def indications_of(self, stage: str) -> tuple[Indication, ...]:
        """Return the rules for a stage; raises KeyError for an unknown id."""
        return self._grounds[stage][0]

    def contraindications_of(self, stage: str) -> tuple[Contraindication, ...]:
        """Return the rules against a stage; raises KeyError for an unknown id."""
        return self._grounds[stage][1]

    def gates_of(self, stage: str) -> tuple[Gate, ...]:
        """Return what guards a stage; raises KeyError for an unknown id."""
        return self._grounds[stage][2]

    @cached_property
    def _predecessors(self) -> Mapping[str, Stage]:
        found: dict[str, Stage] = {}
        for rule in self.intervals:
            if rule.starts_at_end and self.stage(rule.earlier_stage).role == "lengthening":
                found.setdefault(rule.later_stage, self.stage(rule.earlier_stage))
        return found

    def predecessor(self, stage: str) -> Stage | None:
        """Return the lengthening where a stage starts on the day on which one ends, or None."""
        return self._predecessors.get(stage)

    @cached_property
    def _carriers(self) -> Mapping[str, Stage]:
        roles = {stage.id: stage.role for stage in self.stages}
        pairs = (rule for rule in self.intervals if rule.paired and roles.get(rule.later_stage) == "implant_removal")
        return {rule.later_stage: self.stage(rule.earlier_stage) for rule in pairs}

    def carrier(self, stage: str) -> Stage | None:
        """Return the lengthening whose nail a stage takes out, or None where it takes none out."""
        return self._carriers.get(stage)

    def device(self, id: str) -> Device:
        """Return a device; raises KeyError for an unknown id."""
        return self._by_id["devices"][id]  # type: ignore[return-value]

    def usual_device(self, bone: Bone) -> Device:
        """Return the device of a bone that stands where no other does (`check` sees that there is one)."""
        return next(device for device in self.devices if device.bone == bone and device.choice == "usual")

    def finding(self, id: str) -> FindingRule:
        """Return the catalogue entry of a finding; raises KeyError for an unknown id."""
        return self._by_id["findings"][id]  # type: ignore[return-value]

    def method(self, id: str) -> Method:
        """Return a measuring method; raises KeyError for an unknown id."""
        return self._by_id["methods"][id]  # type: ignore[return-value]

    def diagnosis(self, id: str) -> Diagnosis:
        """Return a diagnosis; raises KeyError for an unknown id."""
        return self._by_id["diagnoses"][id]  # type: ignore[return-value]

    def stage(self, id: str) -> Stage:
        """Return a stage; raises KeyError for an unknown id."""
        return self._by_id["stages"][id]  # type: ignore[return-value]

    def source(self, id: str) -> Source:
        """Return a source; raises KeyError for an unknown id."""
        return self._by_id["sources"][id]  # type: ignore[return-value]

    def table(self, id: str) -> Table:
        """Return a growth table by its file name without ending; raises KeyError for an unknown id."""
        return self._by_id["tables"][id]  # type: ignore[return-value]

    def number(self, id: str) -> float:
        """Return the number of a `value` rule; raises KeyError for an unknown id."""
        return self.value(id).value

    def value(self, id: str) -> Value:
        """Return a `value` rule; raises KeyError for an unknown id."""
        return self._by_id["values"][id]  # type: ignore[return-value]

    @property
    def clinic_calendar(self) -> ClinicCalendar:
        """Return the clinic's calendar; raises LookupError where the rules have none (`check` sees that they do)."""
        if not self.calendars:
            raise LookupError("the rules have no [calendar]")
        return self.calendars[0]

    def rules(self) -> Iterable[Rule]:
        """Yield every rule of every kind, classifications' types included."""
        for scheme in self.classifications:
            yield from scheme.types
        for kind in (
            "indications",
            "gates",
            "contraindications",
            "intervals",
            "age_windows",
            "amount_limits",
            "devices",
            "spans",
            "both_sided",
        ):
            yield from getattr(self, kind)
        yield from (*self.values, *self.cautions, *self.stop_rules, *self.goals, *self.follow_ups)
        yield from (*self.accompanying, *self.printed_programmes, *self.companions, *self.implants)
        yield from (*self.preference_sets, *self.calendars)

    def finding_ids(self) -> frozenset[str]:
        """Return the ids of all findings of the catalogue."""
        return frozenset(self._by_id["findings"])
