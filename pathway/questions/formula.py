"""Verdict trees solved exactly: which other values of the findings would make them hold or fail.

A variable is a finding of a leg, an age or a predicted value. Its candidates are the value today and the few
values that can make a difference. A cube says for each variable which candidates are allowed; a goal is turned
into cubes, and those with the fewest variables that must leave today's value are the answer.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import ceil, floor
from typing import Literal

from pathway.protocol.model import FindingRule, Protocol
from pathway.protocol.units import STEPS
from pathway.protocol.words import PREDICTED_LABELS, WITHOUT_UNIT, value_words
from pathway.record import WhyUnknown
from pathway.rule_engine.verdict import OPERATORS, State, Verdict, combined_state, on_side

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
AGE = "age_years"


Goal = Sequence[Sequence[tuple[Verdict, Want]]]
"""Wishes of which all must come true, each by one of several verdicts that has a state that is wanted."""


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


def state_of(verdict: Verdict, variables: Variables | None = None, chosen: Mapping[Key, int] | None = None) -> State:
    """Return the state of a verdict tree: today's, or with the chosen candidates of some variables."""
    if verdict.parts:
        return combined_state(verdict.form, [state_of(part, variables, chosen) for part in verdict.parts])
    at = (chosen or {}).get(key_of(verdict), 0) if _varies(verdict) else 0
    return variables.state(verdict, at) if variables and at else verdict.state


def solve(goal: Goal, variables: Variables) -> tuple[Cube, ...]:
    """Return the cubes that make the goal hold with the fewest changed variables, the nearest first.

    One cube for each set of variables; () when no values make it hold.
    """
    for most in range(len(variables.known) + 1):
        wishes = [_any([_cubes(verdict, want, variables, most) for verdict, want in wish]) for wish in goal]
        cubes = _all(wishes, most)
        if cubes:
            best: dict[frozenset[Key], Cube] = {}
            for cube in sorted(cubes, key=variables.distance):
                best.setdefault(frozenset(_changed(cube)), cube)
            return tuple(sorted(best.values(), key=lambda cube: (variables.distance(cube), sorted(cube))))
    return ()


def key_of(verdict: Verdict) -> Key:
    """Return the variable that a comparison looks at."""
    return (verdict.finding or str(verdict.subject), verdict.leg or "")


class Variables:
    """The variables of verdict trees with their candidates; candidate 0 is the value today, known or not."""

    def __init__(self, protocol: Protocol, verdicts: Iterable[Verdict]) -> None:
        self._protocol = protocol
        self._compared: dict[Key, list[Verdict]] = {}
        for leaf in (leaf for verdict in verdicts for leaf in verdict.leaves() if _varies(leaf)):
            self._compared.setdefault(key_of(leaf), []).append(leaf)
        self.known = {key: leaves[0] for key, leaves in self._compared.items()}
        self._bounds = {
            key: {leaf.threshold for leaf in leaves if leaf.comparison in OPERATORS}
            for key, leaves in self._compared.items()
        }
        self._candidates = {key: self._values(leaves[0], leaves) for key, leaves in self._compared.items()}
        # Every leaf is asked again and again; by its identity, as a tree is compared value by value.
        self._states: dict[int, tuple[State, ...]] = {
            id(leaf): (leaf.state, *(self._state(leaf, value) for value in self._candidates[key][1:]))
            for key, leaves in self._compared.items()
            for leaf in leaves
        }

    def state(self, leaf: Verdict, at: int) -> State:
        """Return the state of a comparison when its variable has candidate `at`."""
        return self._states[id(leaf)][at]

    def _state(self, leaf: Verdict, value: float | str | bool | None) -> State:
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

    def mask(self, leaf: Verdict, want: Want) -> int:
        """Return the candidates of a comparison's variable with which its state is wanted, as bits."""
        return sum(1 << at for at, state in enumerate(self._states[id(leaf)]) if state in want)

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

    def settled_by(self, finding: str, verdict: Verdict) -> Settles:
        """Return whether one finding, once known, settles a verdict: whatever its value, for some, for none."""
        keys = [k for k, leaf in self.known.items() if leaf.state == "unknown" and finding in self._entered(leaf)]
        ranges = [range(1, len(self._candidates[key])) for key in keys]
        chosen = (dict(zip(keys, at, strict=True)) for at in itertools.product(*ranges))
        states = [state_of(verdict, self, one) for one in chosen]
        settled = [state != "unknown" for state in states]
        return "always" if settled and all(settled) else "could" if any(settled) else ""

    def _entered(self, leaf: Verdict) -> tuple[str, ...]:
        if leaf.finding is None:
            return leaf.asks
        return self._protocol.finding(leaf.finding).derived_from or (leaf.finding,)

    def _rule(self, key: Key) -> FindingRule | None:
        return self._protocol.finding(key[0]) if key[1] else None

    def _values(self, leaf: Verdict, compared: list[Verdict]) -> tuple[float | str | bool | None, ...]:
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
        number = not isinstance(candidates[allowed[0]], str | bool)
        if number and self._never_known(key) and allowed[0] == 1 and allowed[-1] < len(candidates) - 1:
            # No value is nearer than another: the one at the threshold is taken.
            allowed.reverse()
        return min(((at, self._distance_to(key, at)) for at in allowed), key=lambda item: item[1])

    def _never_known(self, key: Key) -> bool:
        return self.known[key].state == "unknown" and self.known[key].value is None

    def _distance_to(self, key: Key, at: int) -> float:
        leaf, value = self.known[key], self._candidates[key][at]
        if at == 0 or self._never_known(key):
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
        low, high = self._edges(key, mask)
        if low[0] and high[0] and low[1] == high[1]:
            return value_words(low[1], shown)
        return " but ".join(f"{words} {bound:g}" for words, bound in (low, high) if words) + f" {shown}".rstrip()

    def _edges(self, key: Key, mask: int) -> tuple[tuple[str, float], tuple[str, float]]:
        """Return from which threshold to which the numbers of a mask lie, in words; ("", 0) where none ends them.

        They lie side by side: comparisons of one number that must all come true leave no hole.
        """
        values = sorted((float(v), bool(mask >> k & 1)) for k, v in enumerate(self._candidates[key]) if v is not None)
        inside = [at for at, (_, allowed) in enumerate(values) if allowed]
        first, last = inside[0], inside[-1]
        low = high = ("", 0.0)
        # An end of theirs is a threshold, or they begin beside a threshold that does not do itself.
        if first:
            on = values[first][0] in self._bounds[key]
            low = ("at least", values[first][0]) if on else ("more than", values[first - 1][0])
        if last + 1 < len(values):
            on = values[last][0] in self._bounds[key]
            high = ("at most", values[last][0]) if on else ("less than", values[last + 1][0])
        return low, high


def _varies(leaf: Verdict) -> bool:
    """Return whether a leaf looks at what may change; the diagnosis, a stage or a type as it is stays so."""
    return leaf.form in ("finding", "quantity")


def _moves(leaf: Verdict) -> bool:
    """Return whether a comparison is of a predicted value that is known: its candidates are shifts in mm."""
    return leaf.form == "quantity" and leaf.subject != AGE and leaf.state != "unknown"


def _toward(leaf: Verdict) -> int:
    return 1 if leaf.comparison in ("at_least", "above") else -1


def _beside(turning: list[float], step: float) -> list[float]:
    """Return each turning point with the steps beside it, and a value in every gap between them."""
    values = {round(value, 6) for point in turning for value in (point - step, point, point + step)}
    values |= {round((one + other) / 2, 6) for one, other in itertools.pairwise(turning) if other - one <= 2 * step}
    return sorted(values)


def _changed(cube: Cube) -> dict[Key, int]:
    return {key: mask for key, mask in cube.items() if not mask & 1}


def _cubes(verdict: Verdict, want: Want, variables: Variables, most: int) -> list[Cube]:
    if verdict.parts:
        if verdict.form == "not":
            return _cubes(verdict.parts[0], OPPOSITE[want], variables, most)
        found = [_cubes(part, want, variables, most) for part in verdict.parts]
        return _all(found, most) if (verdict.form == "all") == (want in (HOLDS, NOT_FAILS)) else _any(found)
    if not _varies(verdict):
        return [{}] if verdict.state in want else []
    mask = variables.mask(verdict, want)
    return [{key_of(verdict): mask}] if mask and (mask & 1 or most) else []


def _any(found: list[list[Cube]]) -> list[Cube]:
    return _weakest([cube for cubes in found for cube in cubes])


def _all(found: list[list[Cube]], most: int) -> list[Cube]:
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
