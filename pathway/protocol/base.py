"""What every rule of the protocol is made of: sources, origin, the reason in words, and conditions on facts."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from pathway.record import Frozen

Strength = Literal["consensus", "trial", "series", "case", "expert_opinion", "habit"]
Provenance = Literal["read", "memory", "practice", "computed", "judgement"]
Role = Literal[
    "lengthening",
    "device_removal",
    "implant_removal",
    "surveillance",
    "growth_arrest",
    "prosthetic_alternative",
    "neck_shaft_correction",
    "growth_modulation",
    "height_compensation",
    "reexamination",
    "accompanying",
]
"""What the planner does with a stage, whatever its id. Read through `roles.py`.

`lengthening` gains length in the stage's `bone`; `device_removal` and `surveillance` start on the day on which their
lengthening ends; `implant_removal` takes out, months after, a nail that lengthened the bone from inside;
`growth_arrest` closes growth plates of the long leg; `prosthetic_alternative` is offered instead of lengthening;
`neck_shaft_correction` straightens the upper femur, `growth_modulation` steers a growth plate; `height_compensation` is
worn until the legs are equal; `reexamination` measures what gates ask for again; `accompanying` goes with other stages,
as `[[accompanying]]` says.
"""


STAGE_TESTS = ("done", "not_done", "planned", "offered", "wished")
"""What a condition may ask about a stage: what became of it, or whether family or team asked for it."""
Stands = Literal["lengthening", "both", "undecided", "prosthetic"]
"""How the two roads stand: which comes first, or both side by side, or both drawn because nobody can tell yet."""


SourceKind = Literal["publication", "page", "second_hand", "none"]
"""A paper or book; a bare page (an institution's, a teaching page, notes); quoted by others; no source at all."""
NEVER_SEEN = ("not seen", "no source", "second hand")
"""How the `seen` of a source begins that nobody here has read itself."""


class Source(Frozen):
    """A publication, or the ids `common_practice` and `own_judgement`; `seen` says what of it was read.

    It can be found by its address, DOI or PubMed number; where it was read and none is known, `no_address` says why.
    """

    id: str
    citation: str
    year: int | None = None
    kind: SourceKind = "publication"
    address: str = ""
    doi: str = ""
    pmid: str = ""
    no_address: str = ""
    seen: str = ""

    @property
    def found_at(self) -> str:
        """Return where it can be read: its address, else that of its DOI or PubMed number, else ""."""
        if self.address:
            return self.address
        if self.doi:
            return f"https://doi.org/{self.doi}"
        return f"https://pubmed.ncbi.nlm.nih.gov/{self.pmid}/" if self.pmid else ""

    @property
    def never_seen(self) -> bool:
        """Return whether it was never read itself: recalled, quoted by others, or no publication at all."""
        return self.seen.startswith(NEVER_SEEN)


class Sourced(Frozen):
    """A statement that carries its origin."""

    sources: tuple[str, ...] = Field(min_length=1)
    provenance: Provenance
    strength: Strength = "expert_opinion"
    local: bool = False
    note: str = ""


class Rule(Sourced):
    """What every rule shares: an id, a reason in words, sources.

    `evidence` names the rows of what its sources really show (`[[evidence]]`), `indirect` says in words how far these
    are from the child of the rule.
    """

    id: str
    because: str
    evidence: tuple[str, ...] = ()
    indirect: str = ""


class Condition(Frozen):
    """A test on facts; exactly one of the forms below.

    `all`, `any`, `negate` combine. `finding` compares a finding of the affected limb (or `leg = "other"`,
    or the child; `known` asks only that it was measured, "once" that it ever was), `quantity` an age or a
    predicted value (with `chance` for "with at least this chance"), `classification` a type, `diagnosis` the
    diagnosis, `stage` whether a stage is done, planned, or offered (planned or optional), or was asked for by family
    or team (wished). A finding that is not known leaves its test unknown; with `missing = "fails"` the test fails, and
    nobody is asked to measure it for this.
    """

    all: tuple[Condition, ...] | None = None
    any: tuple[Condition, ...] | None = None
    negate: Condition | None = Field(default=None, alias="not")
    finding: str | None = None
    leg: Literal["affected", "other"] = "affected"
    quantity: str | None = None
    chance: float | None = None
    classification: str | None = None
    diagnosis: str | None = None
    stage: str | None = None
    at_least: float | None = None
    above: float | None = None
    at_most: float | None = None
    below: float | None = None
    equals: bool | str | None = None
    one_of: tuple[str, ...] | None = None
    known: Literal[True, "once"] | None = None
    missing: Literal["fails"] | None = None

    @model_validator(mode="after")
    def _one_form(self) -> Condition:
        forms = ("all", "any", "negate", "finding", "quantity", "classification", "diagnosis", "stage")
        given = [form for form in forms if getattr(self, form) is not None]
        if len(given) != 1:
            raise ValueError(f"a condition has exactly one form, found {given or 'none'}")
        if self.all == () or self.any == ():
            raise ValueError("all and any hold at least one condition")
        bounds = [self.at_least, self.above, self.at_most, self.below, self.equals, self.one_of, self.known]
        tests = sum(bound is not None for bound in bounds)
        form = given[0]
        if self.missing is not None and (form != "finding" or self.known):
            raise ValueError("`missing` says of a compared finding what holds where it was not measured")
        if form in ("finding", "quantity") and tests != 1:
            raise ValueError(
                f"a {form} is compared exactly once (at_least, above, at_most, below, equals, one_of, known)"
            )
        if form == "classification" and self.one_of is None:
            raise ValueError("a classification needs `one_of = [types]`")
        if form == "diagnosis" and tests:
            raise ValueError("a diagnosis is only named, not compared")
        if form == "stage" and self.equals not in STAGE_TESTS:
            raise ValueError(f"a stage is tested with `equals` as one of {', '.join(STAGE_TESTS)}")
        return self

    def leaves(self) -> tuple[Condition, ...]:
        """Return the comparisons at the ends of the tree, in reading order."""
        if self.negate is not None:
            return self.negate.leaves()
        parts = self.all if self.all is not None else self.any
        if parts is None:
            return (self,)
        return tuple(leaf for part in parts for leaf in part.leaves())


Condition.model_rebuild()
