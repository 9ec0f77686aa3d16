"""Named sets of weights: what a wish of the family, or the habit of a clinic, makes of the weights of a programme."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from typing import TYPE_CHECKING

from pydantic import Field

from pathway.protocol.base import Rule
from pathway.record import Frozen

if TYPE_CHECKING:
    from pathway.protocol.model import Protocol

WEIGHED = ("weigh_", "practice_")
"""How the ids of values begin that a set may change."""
Fault = tuple[str, str, str]
"""The set, what was found and what was expected."""


class Factor(Frozen):
    """One weight (the id of a value) and by how much a set multiplies it."""

    weight: str
    times: float = Field(gt=0)


class PreferenceSet(Rule):
    """What matters most, as factors of weights; in force where `default` is true or the family wishes for it by its id.

    Several at once multiply. `family_words` say it in one sentence that a parent understands.
    """

    family_words: str
    factors: tuple[Factor, ...] = Field(min_length=1)
    default: bool = False

    @property
    def weights(self) -> tuple[str, ...]:
        """Return the ids of the values that it changes."""
        return tuple(factor.weight for factor in self.factors)


def in_force(protocol: Protocol, prefer: Collection[str]) -> tuple[PreferenceSet, ...]:
    """Return the sets in force, each once: those of the clinic, and those that the family prefers by name."""
    return tuple(one for one in protocol.preference_sets if one.default or one.id in prefer)


def changes(sets: Collection[PreferenceSet]) -> Mapping[str, tuple[tuple[str, float], ...]]:
    """Return by weight the sets that change it, each with its factor."""
    found: dict[str, tuple[tuple[str, float], ...]] = {}
    for one in sets:
        for factor in one.factors:
            found[factor.weight] = (*found.get(factor.weight, ()), (one.id, factor.times))
    return found


def preferred(protocol: Protocol, prefer: Collection[str]) -> Protocol:
    """Return the protocol with the weights that are in force for a family that prefers this."""
    times: dict[str, float] = {}
    for one in in_force(protocol, prefer):
        for factor in one.factors:
            times[factor.weight] = times.get(factor.weight, 1.0) * factor.times
    return multiplied(protocol, times) if times else protocol


def multiplied(protocol: Protocol, times: Mapping[str, float]) -> Protocol:
    """Return the protocol with values multiplied, by id; raises KeyError for an unknown one."""
    new = {id: protocol.value(id).model_copy(update={"value": protocol.number(id) * by}) for id, by in times.items()}
    return protocol.with_parts(values=tuple(new.get(value.id, value) for value in protocol.values))


def faults_of_sets(protocol: Protocol) -> Iterator[Fault]:
    """Yield what is wrong with the sets: weights unknown or named twice, words."""
    known = {value.id for value in protocol.values}
    for one in protocol.preference_sets:
        for weight, count in Counter(one.weights).items():
            if weight not in known or not weight.startswith(WEIGHED):
                yield one.id, f"the weight {weight!r}", f"a value whose id begins with {' or '.join(WEIGHED)}"
            if count > 1:
                yield one.id, f"the weight {weight!r} {count} times", "a weight that is named once"
        if not one.family_words.strip().endswith("."):
            yield one.id, f"the family words {one.family_words!r}", "a sentence that ends with a full stop"
