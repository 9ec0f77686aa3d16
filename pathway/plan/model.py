"""The plan: the stable contract that every view and export reads. Nothing but data.

Lengths in mm, angles in degrees, ages in decimal years, durations in months, dates ISO. `chance_…` is 0 to 1.
"""

from __future__ import annotations

from typing import Literal

from pathway.days import Day
from pathway.plan.firmness import CloseBecause as CloseBecause
from pathway.plan.firmness import DecidesOn as DecidesOn
from pathway.plan.firmness import FirmnessPart as FirmnessPart
from pathway.plan.firmness import FirstKind as FirstKind
from pathway.plan.firmness import FirstOperation as FirstOperation
from pathway.plan.growth import AgePoint as AgePoint
from pathway.plan.growth import GrowthPart as GrowthPart
from pathway.plan.growth import Maturity as Maturity
from pathway.plan.growth import MeasuredPoint as MeasuredPoint
from pathway.plan.growth import MethodOpinion as MethodOpinion
from pathway.plan.growth import Quantiles as Quantiles
from pathway.record import Frozen, Sex, WhyUnknown
from pathway.rule_engine.verdict import Verdict

SCHEMA_VERSION = 1

GateStatus = Literal["holds", "fails", "unknown", "waived", "later"]
GATE_WORDS: dict[GateStatus, str] = {
    "holds": "met",
    "fails": "not met",
    "unknown": "not known",
    "waived": "waived",
    "later": "judged later",
}
LastBy = Literal["", "growth", "rule_of_use", "limit"]
StageStatus = Literal["done", "under_way", "ready", "later", "blocked", "optional"]


class PlanChild(Frozen):
    """The child as the views show it."""

    id: str
    sex: Sex
    date_of_birth: Day
    affected_side: str
    diagnosis: str
    diagnosis_label: str
    age_years: float
    note: str = ""


class SwitchedOff(Frozen):
    """A rule that the clinic switched off, with the clinic's reason."""

    id: str
    because: str


class PlanProtocol(Frozen):
    """Which protocol the plan was made with, and which of its rules the clinic changed, added or switched off."""

    name: str
    version: str
    local_rules: tuple[str, ...] = ()
    switched_off: tuple[SwitchedOff, ...] = ()


class Reason(Frozen):
    """Why something stands in the plan: the rule, its words, its sources and the judged condition.

    `against`: the rule speaks against the stage (a contraindication). `indirect` says how far its evidence is from
    this child.
    """

    rule: str
    text: str
    indirect: str = ""
    sources: tuple[str, ...]
    provenance: str
    strength: str
    local: bool = False
    against: bool = False
    verdict: Verdict | None = None


class Considered(Frozen):
    """A rule judged on the day of the plan, whether or not its stage is in the plan.

    `about` is the kind of stage, of a `type` the scheme, whose type then stands in `type`. What is `waived` does
    not count: a contraindication by decision, an indication of a stage declined or done as often as it may be.
    """

    kind: Literal["indication", "contraindication", "type"]
    about: str
    type: str = ""
    optional: bool = False
    waived: bool = False
    reason: Reason


class ClassificationResult(Frozen):
    """A published scheme applied: the type, or `undetermined` with the findings that would settle it."""

    system: str
    label: str
    type: str
    type_label: str
    because: tuple[Reason, ...] = ()
    asks: tuple[str, ...] = ()
    sources: tuple[str, ...]


class GateState(Frozen):
    """A gate on the day of the plan.

    `later` means that today's findings do not judge it: it is examined again before the stage, from
    `look_again_on`. `mended_by` names the earlier planned stage that is meant to mend a failing gate.
    """

    id: str
    state: GateStatus
    why_unknown: WhyUnknown | None = None
    waived_because: str | None = None
    mended_by: str | None = None
    look_again_on: Day | None = None
    finding: str | None = None
    value: float | str | bool | None = None
    measured_on: Day | None = None
    requires: str
    because: str
    indirect: str = ""
    sentence: str
    sources: tuple[str, ...]
    provenance: str
    strength: str
    local: bool = False
    verdict: Verdict


class DateWindow(Frozen):
    """Earliest and latest day that the rules allow; None where nothing bounds it."""

    earliest: Day
    latest: Day | None = None


class After(Frozen):
    """An edge of the graph: this stage comes so many months after (or together with) another."""

    stage: str
    at_least_months: int | None = None
    at_most_months: int | None = None
    from_point: Literal["start", "end"] = "end"
    because: str
    indirect: str = ""
    rule: str
    sources: tuple[str, ...] = ()


class AmountNote(Frozen):
    """A limit on the amount, and whether it is the one that binds.

    One that `warns` is a caution level; the planned amount may lie `beyond` it. `indirect` says how far the counts
    behind it are from this child, `family_words` what was seen above it in plain words.
    """

    rule: str
    limit_mm: float
    words: str
    indirect: str = ""
    family_words: str = ""
    binds: bool
    warns: bool
    beyond: bool = False
    sources: tuple[str, ...]


class OtherDevice(Frozen):
    """A device that was not chosen for a lengthening: whether it is possible all the same, and why not this one."""

    id: str
    label: str
    possible: bool
    why: str


class PlanDevice(Frozen):
    """With which device a bone is lengthened, and why.

    `state` is how its condition reads today (`holds` where it has none), `asks` the findings that are missing for it,
    `checks` what the clinic checks besides, its own limits that it has not entered among them. `removal` says how it
    comes out, `stays` that it does so in a stage of its own; `walking` how the leg may be loaded.
    """

    id: str
    label: str
    family_words: str
    why: str
    stays: bool
    state: Literal["holds", "fails", "unknown"]
    verdict: Verdict | None = None
    asks: tuple[str, ...] = ()
    checks: tuple[str, ...] = ()
    removal: str
    walking: str
    complications: str = ""
    others: tuple[OtherDevice, ...] = ()
    sources: tuple[str, ...]
    provenance: str
    local: bool = False


class JointSpan(Frozen):
    """A joint across which the device of a lengthening is carried, `needed` or `advised`, with the grounds.

    `device_can` is whether the device that is planned can be carried across a joint at all.
    """

    joint: Literal["knee", "pelvis"]
    need: Literal["needed", "advised"]
    device_can: bool = True
    because: tuple[Reason, ...]


class StageHarm(Frozen):
    """What may go wrong at a stage, as the rules name it, and in how many of 100: best guess, `low` to `high`.

    `of` says of whom: such lengthenings by pooled counts (a new team lies between the ends), or the people of one
    series (the range is what chance alone leaves open). The numbers are None where nobody has counted, or the counts do
    not speak of this stage; `why_not` says why then.
    """

    id: str
    label: str
    family_words: str
    per_100: float | None = None
    low: float | None = None
    high: float | None = None
    of: str = ""
    why_not: str = ""
    sources: tuple[str, ...]
    provenance: str
    local: bool = False


class Recorded(Frozen):
    """What was entered of an operation that was done; `planned_mm` is the amount of the plan accepted before it."""

    achieved_mm: float | None = None
    planned_mm: float | None = None
    device_off: Day | None = None
    complications: tuple[str, ...] = ()


class PlanStage(Frozen):
    """One stage of the plan. `id` carries the number where a kind repeats (`femoral_lengthening_2`).

    `slack_days` is how much later the rules allow it, `free_slack_days` how much later it may come before another stage
    moves (None: nothing bounds it); `delay` says in sentences what a later date does, `preferred` what became of a wish
    about the date. `device` is that of a lengthening with a date. `road` is the road that it belongs to alone, "" for
    what both share; of the prosthetic road a stage has a `window` and no date. `past_usual` is the day on which its
    usual ages ended, where it can only come later; `last_by` what ends its window: the growth that is left
    (nothing makes up for it after that), the usual latest age of a rule of use, or a limit of the rules; `likely`
    that most children come to it, though it need not be asked for today.
    `goes_with` is the stage that a visit or treatment goes with, `recorded` what was entered of an operation done.
    """

    id: str
    kind: str
    number: int
    label: str
    lane: str
    what: str
    family_words: str
    operation: bool
    status: StageStatus
    side: str
    road: Literal["", "lengthening", "prosthetic"] = ""
    goes_with: str = ""
    likely: bool = False
    because: tuple[Reason, ...]
    amount_mm: float | None = None
    amount_deg: float | None = None
    amount_percent: float | None = None
    amount_limits: tuple[AmountNote, ...] = ()
    spans: tuple[JointSpan, ...] = ()
    physes: tuple[str, ...] = ()
    device: PlanDevice | None = None
    window: DateWindow | None = None
    last_by: LastBy = ""
    past_usual: Day | None = None
    date: Day | None = None
    end_date: Day | None = None
    age_years: float | None = None
    duration_months: float | None = None
    duration_range_months: tuple[float, float] | None = None
    slack_days: int | None = None
    free_slack_days: int | None = None
    delay: tuple[str, ...] = ()
    preferred: str = ""
    gates: tuple[GateState, ...] = ()
    after: tuple[After, ...] = ()
    stop_rules: tuple[str, ...] = ()
    harms: tuple[StageHarm, ...] = ()
    sources: tuple[str, ...] = ()
    recorded: Recorded | None = None

    @property
    def begun(self) -> bool:
        """Return whether it is done or under way."""
        return self.status in ("done", "under_way")


class Roads(Frozen):
    """How the lengthening and the prosthetic road stand to each other, with the grounds.

    `stands`: which comes first, `both` side by side, `undecided` where both are drawn and nobody need choose yet,
    `not_known` where a finding decides that is missing. `chosen` is what family and team asked for. `shared` are the
    operations that both roads have, `prosthetic` the stages of that road in their usual order.
    """

    stands: Literal["lengthening", "both", "undecided", "prosthetic", "not_known"]
    chosen: Literal["", "lengthening", "prosthetic"] = ""
    sentence: str
    because: tuple[Reason, ...] = ()
    shared: tuple[str, ...] = ()
    prosthetic: tuple[str, ...] = ()


class Refusal(Frozen):
    """A stage that is not planned for this child because no source supports it, by name and rule."""

    stage: str
    label: str
    because: str
    rule: str
    sources: tuple[str, ...]
    provenance: str


class Burden(Frozen):
    """What a course costs the child."""

    operations: int
    device_months: float
    months_over_25_mm: float
    school_years_touched: int
    adult_height_lost_mm: float = 0.0


class CourseStage(Frozen):
    """A stage of a course with its chosen age and amount."""

    id: str
    kind: str
    age_years: float
    amount_mm: float | None = None
    physes: tuple[str, ...] = ()


class Needed(Frozen):
    """How often (`share`, 0 to 1) a course comes to so many further lengthenings when amounts are decided again."""

    lengthenings: int
    share: float


class Usually(Frozen):
    """What usually happens on a course: expected numbers, for a typical team, of what is for length.

    `months_over_5_percent` are months with a difference above the share of the long leg that the rules name,
    `lasting_harm_of_100` how many of 100 such children are left with lasting harm.
    """

    planned_operations: float
    unplanned_operations: float
    device_months: float
    months_over_5_percent: int
    lasting_harm_of_100: int


class Spread(Frozen):
    """A count over the lives of a policy: its mean, and what 5 and 95 of 100 do not exceed."""

    mean: float
    p05: float
    p95: float


class ChildrenWith(Frozen):
    """In how many of 100 children something happens at least once: best guess, `low` to `high` for a new team."""

    best: float
    low: float
    high: float


class ExpectedHarm(Frozen):
    """How many lengthenings of 100 children bring an outcome: for a typical team, `low` to `high` for a new one.

    `children` are those with at least one, as if events knew nothing of each other; None where too few series counted
    the outcome for a number to be told.
    """

    id: str
    per_100: float
    low: float
    high: float
    children: ChildrenWith | None = None


class Expected(Frozen):
    """What usually happens on a course, all of one distribution: what is for length, from today on.

    Troubles come as often as published and every amount is decided again at the visits to come. `peak_difference_mm` is
    the largest mean difference of all visits; chances are parts of 1, capped at what the rules let be told.
    """

    operations: Spread
    unplanned_operations: Spread
    device_months: Spread
    peak_difference_mm: float
    months_over_50_mm: float
    months_over_100_mm: float
    chance_within_10_mm: float
    chance_within_20_mm: float
    adult_height_lost_mm: Spread | None = None
    harms: tuple[ExpectedHarm, ...] = ()


class IfEveryStepWorks(Frozen):
    """What the path of a course takes if every step works and growth stays as projected: another world than `Expected`.

    Operations are all that are planned from today on, those that are not for length with them.
    """

    operations: int
    device_months: float
    residual_mm: float
    months_over_25_mm: float
    school_years_touched: int
    adult_height_lost_mm: float


class PrintedResult(Frozen):
    """What a series prints of whole courses, to stand beside ours: in words, of whom, and how far from this child."""

    id: str
    text: str
    population: str
    differs: str
    sources: tuple[str, ...] = ()


CHOSEN_COURSE = "the course chosen on"
"""How a notice names the course that family or team chose; its first letter is a capital where it begins one."""


class Course(Frozen):
    """One whole way to the goal, comparable with the others; `lost_because` is empty for the recommended.

    `predicted_mm` is the projected difference at maturity without operations to come, `corrections_mm` what
    the course takes off it, `median_residual_mm` the projection with the course: these and `burden` hold if every
    step works. `residual_mm`, `chance_within_…` and `usually` say what usually happens: troubles come as often as
    published, and amounts are decided again at every visit;
    `lengthenings_needed` how many that comes to, `height_lost_mm` the adult height that growth arrest costs.
    `points` is what it costs on average by the weights of the rules, in planned operations, `gap` what the
    best other first operation costs more; `not_beaten` that no other course has both less burden and a better chance.
    `expected` holds all that usually happens in one world, `if_every_step_works` the path in the other. `programme` is
    the id of the programme of print whose best course it is ("" for none), with its name and what it rules out.
    """

    id: str
    summary: str
    recommended: bool
    within_protocol: bool
    stages: tuple[CourseStage, ...]
    burden: Burden
    predicted_mm: float
    corrections_mm: float
    median_residual_mm: float
    residual_mm: Quantiles | None
    chance_within_10_mm: float | None
    chance_within_20_mm: float | None
    usually: Usually | None = None
    lengthenings_needed: tuple[Needed, ...] = ()
    height_lost_mm: Quantiles | None = None
    points: float = 0.0
    not_beaten: bool = False
    gap: float | None = None
    lost_because: str = ""
    expected: Expected | None = None
    if_every_step_works: IfEveryStepWorks | None = None
    programme: str = ""
    programme_label: str = ""
    rules_out: str = ""


class OpenQuestion(Frozen):
    """A finding that is missing: what it decides and by when it is needed.

    `decides` counts the judgements (types, indications, contraindications, gates) that wait for it, `blocks`
    names the stages that could start next and cannot without it. `side` is the leg, where both are affected.
    """

    finding: str
    side: Literal["", "left", "right"] = ""
    label: str
    family_words: str
    how: str
    why_unknown: WhyUnknown
    needed_for: tuple[str, ...]
    by: Day | None = None
    decides: int = 0
    blocks: tuple[str, ...] = ()


class PlanConflict(Frozen):
    """Rules that contradict each other for this child, in words.

    Each of `remedies` alone would resolve it: by how much one of the rules would have to give way.
    """

    rules: tuple[str, ...]
    explanation: str
    remedies: tuple[str, ...] = ()


class Caution(Frozen):
    """A sentence that must stand on every view of the plan, with its sources; `id` is that of the rule."""

    id: str = ""
    text: str
    sources: tuple[str, ...]
    provenance: str
    local: bool = False


class SourceLine(Frozen):
    """A source that the plan cites."""

    id: str
    citation: str
    address: str = ""
    seen: str = ""


class Plan(Frozen):
    """The whole plan on one day. What `plan --json` prints.

    `firmness` says whether the first operation is a close call. `roads` say how lengthening and prosthesis stand,
    `refused` which stages no source supports for this child. `notices` say what became of decisions that could not be
    followed, `considered` every rule for and against a stage and every type as judged on the day; where courses are
    compared, `printed_results` what print counts of whole courses.
    """

    schema_version: int = SCHEMA_VERSION
    child: PlanChild
    on: Day
    protocol: PlanProtocol
    classification: tuple[ClassificationResult, ...]
    growth: GrowthPart
    stages: tuple[PlanStage, ...]
    alternatives: tuple[Course, ...]
    open_questions: tuple[OpenQuestion, ...]
    conflicts: tuple[PlanConflict, ...]
    notices: tuple[str, ...] = ()
    firmness: FirmnessPart = FirmnessPart()
    roads: Roads | None = None
    refused: tuple[Refusal, ...] = ()
    cautions: tuple[Caution, ...]
    sources: tuple[SourceLine, ...]
    considered: tuple[Considered, ...] = ()
    printed_results: tuple[PrintedResult, ...] = ()

    def stage(self, id: str) -> PlanStage:
        """Return a stage by its id; raises KeyError when the plan has none of that name."""
        for stage in self.stages:
            if stage.id == id:
                return stage
        raise KeyError(id)

    @property
    def recommended(self) -> Course | None:
        """Return the recommended course, or None where none could be planned."""
        return next((course for course in self.alternatives if course.recommended), None)
