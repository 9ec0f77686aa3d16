"""The programme of a child as it is told: what to decide at each visit, in a world where things go wrong."""

from __future__ import annotations

from typing import Literal

from pathway.protocol.model import Bone
from pathway.record import Frozen

Firmness = Literal["close call", "a matter of weighing", "firm"]
Kind = Literal["lengthening", "growth_arrest", "lengthening_with_growth_arrest", "nothing"]


class ProgrammeStep(Frozen):
    """An operation of the path that is followed if every step works and every forecast stays.

    `amount_mm` is the length gained, or what a growth arrest alone takes off; `percent` of the `bone` as it is
    then. In so many `of_100` lives a lengthening of this number (with or without an arrest), or an arrest, comes within
    a year of this age and a centimetre of this amount, in `of_100_ever` at any age.
    """

    kind: Kind
    age_years: float
    amount_mm: float
    percent: float | None
    bone: Bone | None
    physes: tuple[str, ...]
    of_100: int
    of_100_ever: int


class FirstChoice(Frozen):
    """A first operation to commit to now, and by how much it scores worse than the best (1: a planned operation)."""

    kind: Kind
    age_years: float
    amount_mm: float
    physes: tuple[str, ...]
    costs_more: float


class LengtheningsOf100(Frozen):
    """How many of a hundred such children have so many lengthenings."""

    lengthenings: int
    of_100: int


class WeightChange(Frozen):
    """A set of weights that is in force, and by how much it multiplies a weight."""

    by: str
    times: float


class Weight(Frozen):
    """One value judgement that the programme rests on, in words.

    `value` is in force, `in_rules` what the rules say; `changed_by` are the sets that make the difference.
    """

    id: str
    value: float
    in_rules: float
    unit: str
    because: str
    changed_by: tuple[WeightChange, ...] = ()


class SetInForce(Frozen):
    """A set of weights in force: whose choice it is, and what it says in plain words."""

    id: str
    chosen_by: Literal["family", "clinic"]
    family_words: str


class AgeRow(Frozen):
    """What a first lengthening at an age costs more than the best first operation, by amount (None: not allowed).

    `growth_arrest` is the cheapest growth arrest alone at that age.
    """

    age_years: float
    costs_more: tuple[float | None, ...]
    growth_arrest: float | None


class AmountsByAge(Frozen):
    """Ages and amounts of a first lengthening next to the cheapest one, in planned operations above the best."""

    amounts_mm: tuple[float, ...]
    rows: tuple[AgeRow, ...]


class Turn(Frozen):
    """What brings another first operation: `risk` at its `low` or `high` end, the `slope`, or a `weight` by its id.

    `value` is what a weight or the slope (events for ten points more of the bone) was taken to be, `times` the factor
    of a weight. `first` is best then; committing to the present one would cost `keeping` more (None: not allowed).
    """

    what: Literal["risk", "slope", "weight"]
    id: str
    value: float | None
    times: float | None
    first: FirstChoice
    keeping: float | None


def any_within_range(turns: tuple[Turn, ...]) -> bool:
    """Return whether a risk or a weight is among what turns; a slope says only what published counts leave open."""
    return any(one.what != "slope" for one in turns)


class Programme(Frozen):
    """The programme of one child.

    `path` is followed if every step works. The rest is what usually happens, troubles as often as in published groups
    for a typical team: mean planned and unplanned operations for length, lasting harm of 100, months with a device and
    with more than a share of the leg, lengthenings, and how many of 100 end within 1 and 2 cm. `gap` is what the best
    other first operation costs more, `firmness` says it in words; `waiting` what half a year's wait saves (below 0:
    costs). `troubles` are sentences on the first lengthening; `beyond_counts` that a step lies where published counts
    do not reach. `two_bones`: both are lengthened, in a fixed order. `amounts` is why it is this age and
    amount; `turns`, where asked for, what would bring another first operation: if a risk or weight does, the call is
    close whatever the gap.
    """

    predicted_mm: float
    path: tuple[ProgrammeStep, ...]
    planned_operations: float
    unplanned_operations: float
    harm_of_100: int
    device_months: float
    months_over: float
    over_percent: float
    lengthenings: tuple[LengtheningsOf100, ...]
    within_10_mm_of_100: int
    within_20_mm_of_100: int
    gap: float | None
    firmness: Firmness
    first: FirstChoice
    other: FirstChoice | None
    choices: tuple[FirstChoice, ...]
    amounts: AmountsByAge | None
    waiting: float | None
    next_visit_months: float
    troubles: tuple[str, ...]
    beyond_counts: bool
    two_bones: bool
    sets: tuple[SetInForce, ...]
    rests_on: tuple[Weight, ...]
    turns: tuple[Turn, ...] | None = None

    @property
    def turned(self) -> bool:
        """Return whether a risk or a weight within its range brings another first operation."""
        return any_within_range(self.turns or ())
