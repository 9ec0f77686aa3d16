"""Small mistakes that a hand could make in a rule: the shipped protocol with one thing changed, one at a time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from pathway.protocol.model import Condition, Protocol

KINDS = (
    "classifications",
    "indications",
    "gates",
    "contraindications",
    "intervals",
    "age_windows",
    "amount_limits",
    "devices",
    "spans",
    "both_sided",
    "stop_rules",
    "goals",
    "follow_ups",
    "stages",
)
"""What decides about stages, order, ages and amounts. The numbers of growth and of errors are left to their tests."""
FLIPPED = {"at_least": "at_most", "at_most": "at_least", "above": "below", "below": "above"}
STRICT = {"at_least": "above", "above": "at_least", "at_most": "below", "below": "at_most"}
MOVED = (1.1, 0.9)
NUMBERS = (
    "at_least_months",
    "at_most_months",
    "number",
    "most_mm",
    "most_percent",
    "from_age_years",
    "to_age_years",
    "every_months",
    "until_months",
    "duration_months",
    "most",
    "look_again_months",
    "while_growth_left_mm",
    "or_after_growth_months",
    "most_growth_left_mm",
    "least_mm",
    "months_per_cm",
)
FLAGS = (
    "optional",
    "at_maturity",
    "waivable",
    "next",
    "together",
    "either_order",
    "hard",
    "warns",
    "operation",
    "asks",
    "likely",
    "impossible",
    "latest_useful",
    "weighs_late",
    "only",
    "paired",
    "rod",
    "spans_knee",
)
TEXTS = ("because", "text", "target", "look_for", "label", "what", "family_words", "how", "gap")
DROPPED = ("otherwise", "instead", "gap_when", "bone", "sex", "stands", "road")
LISTS = ("mends", "alters", "applies_to")


@dataclass(frozen=True)
class Mutant:
    """The protocol with one mistake in `rule`: `kind` names the sort of mistake, `change` says it.

    `names` are the ids of the rule and of what it speaks of, by which cases that may show the mistake are found.
    """

    rule: str
    kind: str
    change: str
    protocol: Protocol

    names: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        return f"{self.rule}: {self.change}"


def mutants(protocol: Protocol) -> Iterator[Mutant]:
    """Yield every mutant, always in the same order."""
    for group in KINDS:
        items = getattr(protocol, group)
        for at, item in enumerate(items):
            names = _names(item)
            dropped = _with(protocol, group, items[:at] + items[at + 1 :])
            yield Mutant(item.id, "dropped", f"{group} entry dropped", dropped, names)
            for kind, change, changed in (*_of_item(item), *_of_types(item)):
                mended = (*items[:at], changed, *items[at + 1 :])
                rule = change.partition(" of type ")[2] or item.id
                yield Mutant(rule, kind, change, _with(protocol, group, mended), names)


def _with(protocol: Protocol, group: str, items: tuple[Any, ...]) -> Protocol:
    # Built anew: a copy would keep the look-up by id of the protocol it was copied from.
    return Protocol(**{**{name: getattr(protocol, name) for name in Protocol.model_fields}, group: items})


def _names(item: Any) -> tuple[str, ...]:
    named = (getattr(item, name, None) for name in ("id", "stage", "guards", "otherwise", "instead"))
    return tuple(name for name in named if name)


def _of_types(item: Any) -> Iterator[tuple[str, str, Any]]:
    kinds = getattr(item, "types", ())
    for at, kind in enumerate(kinds):
        yield "dropped", f"dropped of type {kind.id}", _set(item, types=kinds[:at] + kinds[at + 1 :])
        for sort, change, changed in _of_item(kind):
            yield sort, f"{change} of type {kind.id}", _set(item, types=(*kinds[:at], changed, *kinds[at + 1 :]))


def _of_item(item: Any) -> Iterator[tuple[str, str, Any]]:
    fields = type(item).model_fields
    if "sources" in fields:
        yield "sources removed", "sources removed", _set(item, sources=())
        yield "source unknown", "a source that is not listed", _set(item, sources=("nobody_1900",))
    for name in (name for name in TEXTS if name in fields and getattr(item, name)):
        yield "words removed", f"{name} emptied", _set(item, **{name: " "})
    for name in (name for name in FLAGS if name in fields):
        yield "flag flipped", f"{name} flipped", _set(item, **{name: not getattr(item, name)})
    for name in (name for name in DROPPED if name in fields and getattr(item, name) is not None):
        yield "field dropped", f"{name} dropped", _set(item, **{name: None})
    yield from _numbers(item)
    for name in (name for name in LISTS if name in fields):
        listed = getattr(item, name)
        for at, entry in enumerate(listed):
            yield "list shortened", f"{entry} dropped from {name}", _set(item, **{name: listed[:at] + listed[at + 1 :]})
    if {"mends", "otherwise"} & fields.keys() and getattr(item, "otherwise", None) is not None:
        yield "mender swapped", "otherwise is what it guards", _set(item, otherwise=item.guards)
    if "earlier" in fields and item.earlier != item.later:
        yield "order swapped", "earlier and later swapped", _set(item, earlier=item.later, later=item.earlier)
    for name in ("when", "requires", "gap_when"):
        condition = getattr(item, name, None)
        if isinstance(condition, Condition):
            for kind, change, changed in _of_condition(condition):
                yield kind, f"{name}: {change}", _set(item, **{name: changed})


def _numbers(item: Any) -> Iterator[tuple[str, str, Any]]:
    for name in (name for name in NUMBERS if name in type(item).model_fields):
        number = getattr(item, name)
        if number is None or isinstance(number, bool):
            continue
        whole = name.endswith("_months") or name in ("number", "most")
        for new in dict.fromkeys(_moved(number, whole)):
            yield "number moved", f"{name} {number:g} to {new:g}", _set(item, **{name: new})
        if name in ("at_least_months", "at_most_months") and number:
            yield "number negative", f"{name} {number:g} to {-number:g}", _set(item, **{name: -number})
            yield "number halved", f"{name} {number:g} to {number // 2:g}", _set(item, **{name: number // 2})


def _moved(number: float, whole: bool) -> list[float]:
    if not whole:
        return [round(number * factor, 6) for factor in MOVED] if number else [1.0]
    step = max(1, round(abs(number) / 10))
    return [number + step, *([number - step] if number else [])]


def _of_condition(condition: Condition) -> Iterator[tuple[str, str, Condition]]:
    """Yield the condition with one mistake somewhere in its tree."""
    if condition.negate is not None:
        yield "not dropped", "not dropped", condition.negate
        for kind, change, changed in _of_condition(condition.negate):
            yield kind, change, _set(condition, negate=changed)
        return
    for form, other in (("all", "any"), ("any", "all")):
        parts = getattr(condition, form)
        if parts is None:
            continue
        yield "all and any swapped", f"{form} of {len(parts)} to {other}", _set(condition, **{form: None, other: parts})
        for at, part in enumerate(parts):
            if len(parts) > 1:
                yield "part dropped", f"part {at + 1} dropped", _set(condition, **{form: parts[:at] + parts[at + 1 :]})
            for kind, change, changed in _of_condition(part):
                yield kind, change, _set(condition, **{form: (*parts[:at], changed, *parts[at + 1 :])})
        return
    yield from _of_leaf(condition)


def _of_leaf(leaf: Condition) -> Iterator[tuple[str, str, Condition]]:
    name = str(leaf.finding or leaf.quantity or leaf.classification or leaf.stage or leaf.diagnosis)
    for form in FLIPPED:
        bound = getattr(leaf, form)
        if bound is None:
            continue
        for factor in MOVED:
            new = round(bound * factor, 6) if bound else factor - 1
            yield "threshold moved", f"{name} {form} {bound:g} to {new:g}", _set(leaf, **{form: new})
        yield "comparison flipped", f"{name} {form} flipped", _set(leaf, **{form: None, FLIPPED[form]: bound})
        yield "strictness changed", f"{name} {form} to {STRICT[form]}", _set(leaf, **{form: None, STRICT[form]: bound})
    if leaf.chance is not None:
        yield "chance moved", f"{name} chance {leaf.chance:g}", _set(leaf, chance=round(leaf.chance * 0.9, 4))
    if isinstance(leaf.equals, bool):
        yield "value swapped", f"{name} equals {not leaf.equals}", _set(leaf, equals=not leaf.equals)
    if leaf.stage is not None:
        other = "not_done" if leaf.equals == "done" else "done"
        yield "value swapped", f"{name} equals {other}", _set(leaf, equals=other)
    for at, word in enumerate(leaf.one_of or ()):
        rest = (leaf.one_of or ())[:at] + (leaf.one_of or ())[at + 1 :]
        if rest:
            yield "choice dropped", f"{name} without {word}", _set(leaf, one_of=rest)
    if leaf.finding is not None and leaf.leg == "affected":
        yield "leg swapped", f"{name} of the other leg", _set(leaf, leg="other")


def _set(item: Any, **changes: Any) -> Any:
    return item.model_copy(update=changes)
