"""Formulas over findings, solved exactly: which other values would make a tree of verdicts hold.

A variable is a finding of a leg, an age or a predicted value. Its candidates are the value today and the few
values that can make a difference. A cube says for each variable which candidates are allowed; a formula is
turned into cubes, and those with the fewest variables that must leave today's value are the answer.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from math import ceil, floor
from typing import Literal

from pathway.plan.model import VerdictRecord, WhyUnknown
from pathway.protocol.model import FindingRule, Protocol
from pathway.protocol.words import PREDICTED_LABELS, WITHOUT_UNIT, value_words
from pathway.rule_engine.verdict import OPERATORS, State, on_side

Key = tuple[str, str]
Cube = Mapping[Key, int]
"""For each variable the allowed candidates as bits; bit 0 is today's value. What is not named is as today."""
Settles = Literal["always", "could", ""]
Want = frozenset[State]

HOLDS: Want = frozenset({"holds"})
FAILS: Want = frozenset({"fails"})
NOT_HOLDS: Want = frozenset({"fails", "unknown"})
NOT_FAILS: Want = frozenset({"holds", "unknown"})
OPPOSITE = {HOLDS: FAILS, FAILS: HOLDS, NOT_HOLDS: NOT_FAILS, NOT_FAILS: NOT_HOLDS}
STEPS = {"mm": 1.0, "deg": 1.0, "years": 0.1, "percent": 1.0, "ratio": 0.01, "count": 1.0, "": 1.0}
"""The last digit to which a value of each unit is written."""
AGE = "age_years"


@dataclass(frozen=True, slots=True)
class Node:
    """A formula: a `leaf` (a comparison), a `fixed` state, or parts joined by all, any, not, not_true."""

    form: Literal["leaf", "fixed", "all", "any", "not", "not_true"]
    parts: tuple[Node, ...] = ()
    verdict: VerdictRecord | None = None
    state: State = "holds"


@dataclass(frozen=True, slots=True)
class Change:
    """A finding with another value: what it is today (None: not known), and what it would have to be.

    `words` say the whole range that would do, `to` is its nearest value, `distance` how far that is in
    measurement errors (1 for another choice or a value without an error, 0 for one never measured).
    """

    finding: str
    leg: str
    label: str
    unit: str
    now: float | str | bool | None
    why_unknown: WhyUnknown | None
    to: float | str | bool
    words: str
    distance: float


def all_of(parts: Iterable[Node]) -> Node:
    """Return the formula that holds when every part holds."""
    return Node("all", tuple(parts))


def any_of(parts: Iterable[Node]) -> Node:
    """Return the formula that holds when a part holds."""
    return Node("any", tuple(parts))


def negated(part: Node) -> Node:
    """Return the formula that holds when the part fails."""
    return Node("not", (part,))


def leaf_nodes(node: Node) -> Iterator[VerdictRecord]:
    """Yield the comparisons of a formula."""
    if node.verdict is not None:
        yield node.verdict
    for part in node.parts:
        yield from leaf_nodes(part)


def state_of(node: Node, variables: Variables | None = None, chosen: Mapping[Key, int] | None = None) -> State:
    """Return the state of a formula: today's, or with the chosen candidates of some variables."""
    if node.form == "fixed":
        return node.state
    if node.verdict is not None:
        at = (chosen or {}).get(key_of(node.verdict), 0)
        return variables.state(node.verdict, at) if variables and at else node.verdict.state
    states = [state_of(part, variables, chosen) for part in node.parts]
    if node.form == "not_true":
        return "fails" if states[0] == "holds" else "holds"
    if node.form == "not":
        return {"holds": "fails", "fails": "holds", "unknown": "unknown"}[states[0]]  # type: ignore[return-value]
    deciding, neutral = ("fails", "holds") if node.form == "all" else ("holds", "fails")
    return deciding if deciding in states else "unknown" if "unknown" in states else neutral  # type: ignore[return-value]


def solve(goal: Node, variables: Variables) -> tuple[Cube, ...]:
    """Return the cubes that make the goal hold with the fewest changed variables, the nearest first.

    One cube for each set of variables; () when no values make it hold.
    """
    for most in range(len(variables.known) + 1):
        cubes = _cubes(goal, HOLDS, variables, most)
        if cubes:
            best: dict[frozenset[Key], Cube] = {}
            for cube in sorted(cubes, key=variables.distance):
                best.setdefault(frozenset(_changed(cube)), cube)
            return tuple(sorted(best.values(), key=lambda cube: (variables.distance(cube), sorted(cube))))
    return ()


def key_of(verdict: VerdictRecord) -> Key:
    """Return the variable that a comparison looks at."""
    return (verdict.finding or str(verdict.subject), verdict.leg or "")


class Variables:
    """The variables of a formula with their candidates; candidate 0 is the value today, known or not."""

    def __init__(self, protocol: Protocol, node: Node) -> None:
        self._protocol = protocol
        self.known: dict[Key, VerdictRecord] = {}
        bounds: dict[Key, list[VerdictRecord]] = {}
        for leaf in leaf_nodes(node):
            self.known.setdefault(key_of(leaf), leaf)
            bounds.setdefault(key_of(leaf), []).append(leaf)
        self._bounds = {key: {c.threshold for c in compared} for key, compared in bounds.items()}
        self._candidates = {key: self._values(leaf, bounds[key]) for key, leaf in self.known.items()}

    def state(self, leaf: VerdictRecord, at: int) -> State:
        """Return the state of a comparison when its variable has candidate `at`."""
        if at == 0:
            return leaf.state
        value = self._candidates[key_of(leaf)][at]
        if leaf.comparison == "known":
            return "holds"
        if leaf.comparison == "equals":
            return "holds" if value == leaf.threshold else "fails"
        if leaf.comparison == "one_of":
            return "holds" if value in (leaf.threshold or ()) else "fails"  # type: ignore[operator]
        number, bound = float(value), float(leaf.threshold)  # type: ignore[arg-type]
        if _moves(leaf):
            number = round(bound + _toward(leaf) * float(leaf.margin or 0) + number, 6)
        return "holds" if on_side(str(leaf.comparison), number, bound)[0] else "fails"

    def mask(self, leaf: VerdictRecord, want: Want) -> int:
        """Return the candidates of a comparison's variable with which its state is wanted, as bits."""
        count = len(self._candidates[key_of(leaf)])
        return sum(1 << at for at in range(count) if self.state(leaf, at) in want)

    def distance(self, cube: Cube) -> float:
        """Return the least sum of distances with which a cube can be reached."""
        return sum(self._nearest(key, mask)[1] for key, mask in _changed(cube).items())

    def changes(self, cube: Cube) -> tuple[Change, ...]:
        """Return the changed variables of a cube in words, by name."""
        return tuple(self._change(key, mask) for key, mask in sorted(_changed(cube).items()))

    def unknown_findings(self) -> tuple[str, ...]:
        """Return the findings that would have to be entered for the variables that are not known."""
        names = [name for leaf in self.known.values() if leaf.state == "unknown" for name in self._entered(leaf)]
        return tuple(dict.fromkeys(names))

    def settled_by(self, finding: str, node: Node) -> Settles:
        """Return whether one finding, once known, settles a formula: whatever its value, for some, for none."""
        keys = [k for k, leaf in self.known.items() if leaf.state == "unknown" and finding in self._entered(leaf)]
        ranges = [range(1, len(self._candidates[key])) for key in keys]
        chosen = (dict(zip(keys, at, strict=True)) for at in itertools.product(*ranges))
        states = [state_of(node, self, one) for one in chosen]
        settled = [state != "unknown" for state in states]
        return "always" if settled and all(settled) else "could" if any(settled) else ""

    def _entered(self, leaf: VerdictRecord) -> tuple[str, ...]:
        if leaf.finding is None:
            return leaf.asks
        return self._protocol.finding(leaf.finding).derived_from or (leaf.finding,)

    def _rule(self, key: Key) -> FindingRule | None:
        return self._protocol.finding(key[0]) if key[1] else None

    def _values(self, leaf: VerdictRecord, compared: list[VerdictRecord]) -> tuple[float | str | bool | None, ...]:
        today = leaf.value if leaf.state != "unknown" else None
        rule = self._rule(key_of(leaf))
        if rule is not None and rule.kind != "number":
            others: tuple[str | bool, ...] = (True, False) if rule.kind == "flag" else rule.choices
            return (today, *(value for value in others if value != today))
        if _moves(leaf):
            turning = [-_toward(item) * float(item.margin or 0) for item in compared]
            # Whole millimetres: a projection is not said more finely.
            shifts = {float(near(point) + step) for point in turning for near in (floor, ceil) for step in (-1, 0, 1)}
            return (0.0, *sorted(shifts - {0.0}))
        bounds = sorted({float(c.threshold) for c in compared if c.comparison in OPERATORS})  # type: ignore[arg-type]
        values = _beside(bounds, STEPS[rule.unit] if rule else 0.1 if leaf.subject == AGE else 1.0)
        if rule is not None and rule.plausible is not None:
            low, high = rule.plausible
            values = [value for value in values if low <= value <= high] or [round((low + high) / 2, 2)]
            if leaf.state == "unknown" and isinstance(leaf.value, float):
                values.append(leaf.value)
        if leaf.subject == AGE:
            # A child only grows older.
            values = [value for value in values if value > float(leaf.value or 0)]
        return (today, *(value for value in dict.fromkeys(values) if value != today))

    def _nearest(self, key: Key, mask: int) -> tuple[int, float]:
        candidates = self._candidates[key]
        allowed = [at for at in range(len(candidates)) if mask >> at & 1]
        return min(((at, self._distance_to(key, at)) for at in allowed), key=lambda item: item[1])

    def _distance_to(self, key: Key, at: int) -> float:
        leaf, value = self.known[key], self._candidates[key][at]
        if at == 0 or (leaf.state == "unknown" and leaf.value is None):
            return 0.0
        if isinstance(value, str | bool) or not leaf.sd:
            return 0.0 if value == leaf.value else 1.0
        return abs(float(value or 0) - (0.0 if _moves(leaf) else float(leaf.value or 0))) / leaf.sd

    def _change(self, key: Key, mask: int) -> Change:
        leaf, rule = self.known[key], self._rule(key)
        at, distance = self._nearest(key, mask)
        to = self._candidates[key][at]
        unit = rule.unit if rule else "years" if key[0] == AGE else "mm"
        label = rule.label if rule else "age" if key[0] == AGE else PREDICTED_LABELS.get(key[0], key[0])
        if key[1] == "other":
            label += " of the other leg"
        words = self._words(key, mask, at, unit)
        if _moves(leaf):
            to = round(float(leaf.value or 0) + float(to or 0), 1)
        now = leaf.value if leaf.state != "unknown" else None
        return Change(key[0], key[1], label, unit, now, leaf.why_unknown, to, words, round(distance, 3))  # type: ignore[arg-type]

    def _words(self, key: Key, mask: int, at: int, unit: str) -> str:
        candidates, leaf = self._candidates[key], self.known[key]
        allowed = [value for k, value in enumerate(candidates) if mask >> k & 1]
        if leaf.state == "unknown" and len(allowed) == len(candidates) - 1:
            return "measured, whatever the result"
        to = candidates[at]
        if isinstance(to, str | bool):
            return " or ".join(value_words(value) for value in allowed if value is not None)
        shown = "" if unit in WITHOUT_UNIT else unit
        if _moves(leaf):
            return f"{abs(float(to or 0)):.0f} mm {'more' if float(to or 0) > 0 else 'less'} than projected"
        numbers = sorted(float(value) for value in candidates if value is not None)
        inside = {float(value) for value in allowed if value is not None}
        k = numbers.index(float(to or 0))
        beyond = all(value in inside for value in numbers[k:])
        if not beyond and not all(value in inside for value in numbers[: k + 1]):
            return value_words(numbers[k], shown)
        # The nearest value is the threshold itself, or the step after a threshold that does not do.
        last_out = numbers[k - 1] if beyond and k else numbers[k + 1] if not beyond and k + 1 < len(numbers) else None
        if last_out in self._bounds[key] and numbers[k] not in self._bounds[key]:
            return _bound("more than" if beyond else "less than", float(last_out or 0), shown)
        return _bound("at least" if beyond else "at most", numbers[k], shown)


def _bound(words: str, value: float, unit: str) -> str:
    return f"{words} {value:g} {unit}".rstrip()


def _moves(leaf: VerdictRecord) -> bool:
    """Return whether a comparison is of a predicted value that is known: its candidates are shifts in mm."""
    return leaf.form == "quantity" and leaf.subject != AGE and leaf.state != "unknown"


def _toward(leaf: VerdictRecord) -> int:
    return 1 if leaf.comparison in ("at_least", "above") else -1


def _beside(turning: list[float], step: float) -> list[float]:
    """Return each turning point with the steps beside it, and a value in every gap between them."""
    values = {round(value, 6) for point in turning for value in (point - step, point, point + step)}
    values |= {round((one + other) / 2, 6) for one, other in itertools.pairwise(turning) if other - one <= 2 * step}
    return sorted(values)


def _changed(cube: Cube) -> dict[Key, int]:
    return {key: mask for key, mask in cube.items() if not mask & 1}


def _cubes(node: Node, want: Want, variables: Variables, most: int) -> list[Cube]:
    if node.form == "fixed":
        return [{}] if node.state in want else []
    if node.verdict is not None:
        mask = variables.mask(node.verdict, want)
        return [{key_of(node.verdict): mask}] if mask and (mask & 1 or most) else []
    if node.form == "not":
        return _cubes(node.parts[0], OPPOSITE[want], variables, most)
    if node.form == "not_true":
        return _cubes(node.parts[0], NOT_HOLDS if want in (HOLDS, NOT_FAILS) else HOLDS, variables, most)
    found = [_cubes(part, want, variables, most) for part in node.parts]
    if (node.form == "all") != (want in (HOLDS, NOT_FAILS)):
        return _weakest([cube for cubes in found for cube in cubes])
    joint: list[Cube] = [{}]
    for cubes in sorted(found, key=len):
        met = (_meet(one, other, most) for one in joint for other in cubes)
        joint = _weakest([cube for cube in met if cube is not None])
    return joint


def _meet(one: Cube, other: Cube, most: int) -> Cube | None:
    """Return the cube inside both, or None where there is none with at most `most` changes."""
    both = dict(one)
    for key, mask in other.items():
        both[key] = both.get(key, mask) & mask
        if not both[key]:
            return None
    return both if sum(not mask & 1 for mask in both.values()) <= most else None


def _weakest(cubes: list[Cube]) -> list[Cube]:
    """Drop every cube that lies inside another one."""
    kept: list[Cube] = []
    for cube in sorted(cubes, key=len):
        if not any(all(cube.get(key, -1) & ~mask == 0 for key, mask in other.items()) for other in kept):
            kept.append(cube)
    return kept
