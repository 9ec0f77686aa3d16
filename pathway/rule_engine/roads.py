"""How the two roads of a child stand to each other: by rules with their grounds, or because family or team chose."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from pathway.protocol.model import Contraindication, Indication, Stage, Stands
from pathway.rule_engine.graph import Considered, StageItem
from pathway.rule_engine.verdict import Verdict

STRONGEST: tuple[Stands, ...] = ("prosthetic", "undecided", "both", "lengthening")
"""Which ground decides where several hold: nobody weighs them, the one that keeps most open is not outvoted."""


@dataclass(frozen=True, slots=True)
class Standing:
    """How the roads stand, on which grounds, and what family or team chose.

    `stands` is None where the rules offer no prosthetic road (lengthening alone), `not_known` where a finding that
    decides about the road is missing and no lengthening can be planned without it. `chosen` is the road that was asked
    for, `waived` whether a surgeon waived what would have put the prosthetic road first.
    """

    stands: Stands | Literal["not_known"] | None = None
    grounds: tuple[tuple[Indication, Verdict], ...] = ()
    chosen: Literal["lengthening", "prosthetic"] | None = None
    waived: bool = False

    @property
    def prosthetic_first(self) -> bool:
        """Return whether the prosthetic road comes first, so that nothing of the other one is dated."""
        return self.stands == "prosthetic"


def standing_of(
    alternative: Stage | None, items: Sequence[StageItem], considered: Iterable[Considered], wished: str | None
) -> Standing:
    """Return how the roads stand; `alternative` is the stage that is the prosthetic road, `wished` the road asked for.

    Of the grounds that hold the strongest decides. A choice of family or team comes before all of them.
    """
    if alternative is None:
        return Standing()
    rules = list(considered)
    grounds = tuple(
        (item.rule, item.verdict)
        for item in rules
        if isinstance(item.rule, Indication) and item.rule.stage == alternative.id and item.verdict.state == "holds"
    )
    found = {rule.stands for rule, _ in grounds}
    stands = next((name for name in STRONGEST if name in found), None)
    declined = any(item.kind == alternative.id and item.declined for item in items)
    if wished == "prosthetic":
        return Standing("prosthetic", grounds, "prosthetic")
    if wished == "lengthening" or declined:
        return Standing("lengthening" if stands else None, grounds, "lengthening")
    waived = any(
        isinstance(item.rule, Contraindication)
        and item.rule.instead == alternative.id
        and item.waived
        and item.verdict.state == "holds"
        for item in rules
    )
    if waived and stands == "prosthetic":
        return Standing("both", grounds, None, waived=True)
    if stands != "prosthetic" and _waits(items):
        return Standing("not_known", grounds)
    return Standing(stands, grounds)


def _waits(items: Sequence[StageItem]) -> bool:
    """Return whether nobody can tell yet if anything may be lengthened."""
    lengthened = [item for item in items if item.role == "lengthening" and not item.begun]
    return bool(lengthened) and all(item.state == "unknown" for item in lengthened)
