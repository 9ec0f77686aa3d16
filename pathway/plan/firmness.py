"""How firm the first operation of a plan is, as the plan keeps it: a close call between which two, and what decides."""

from __future__ import annotations

from typing import Literal

from pathway.days import Day
from pathway.record import Frozen

FirstKind = Literal[
    "lengthening", "growth_arrest", "lengthening_with_growth_arrest", "other_operation", "prosthesis", "nothing"
]
Level = Literal["close call", "a matter of weighing", "firm"]


class FirstOperation(Frozen):
    """An operation that may come first: its `stage` ("" where nothing is done), age and amount.

    `label` and `family_words` are that stage's; `physes` are the plates of a growth arrest, `also` the stages of
    other operations of that day. Age and amount are None where they are not worked out.
    """

    kind: FirstKind
    stage: str
    label: str
    age_years: float | None
    amount_mm: float | None
    physes: tuple[str, ...] = ()
    family_words: str = ""
    also: tuple[str, ...] = ()
    also_labels: tuple[str, ...] = ()


class CloseBecause(Frozen):
    """Why a first operation is a close call: the `gap` to another, or a `threshold` inside the error of a reading.

    `kept`: the plan accepted before is kept, though another costs a little less. `id` is the finding of a threshold or
    what it predicts, `sentence` says it with its numbers.
    """

    what: Literal["gap", "kept", "threshold"]
    id: str = ""
    sentence: str


class DecidesOn(Frozen):
    """What decides a close call: a `film` of both legs, or a `finding` read again, and by when."""

    what: Literal["film", "finding"]
    finding: str = ""
    label: str
    on: Day


class FirmnessPart(Frozen):
    """How firm the first operation is.

    `gap` is what the best other first operation costs more (1: a planned operation); another one is of another kind,
    or farther in age or amount than the rules call the same. `between` are the two of a close call, that of the plan
    first; `kept` that it is the one accepted before. Until `firm_until` nothing turns: the first operation of a firm
    plan, of a close call the day that decides; `shared` are the stages until then that both have. `sentence` says it
    all, "" where there is nothing to say.
    """

    close_call: bool = False
    level: Level = "firm"
    gap: float | None = None
    between: tuple[FirstOperation, ...] = ()
    why: tuple[CloseBecause, ...] = ()
    decide_on: DecidesOn | None = None
    firm_until: Day | None = None
    shared: tuple[str, ...] = ()
    kept: bool = False
    sentence: str = ""
