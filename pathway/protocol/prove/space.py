"""What a child can be like, cut into cells at every threshold: the ground on which rules are proved.

An axis is a finding of one leg, an age, a predicted value, a diagnosis or what has become of a stage. A number
is cut at every threshold that any rule uses: each threshold and the midpoint of each interval between two
stands for all values that no rule tells apart; choices, flags, diagnoses and states of stages are listed.
Conditions are solved exactly over these cells: a search through the conditions that narrows the cells of each
axis and gives up a branch when an axis has none left visits every combination without listing them all.
A condition on a type is replaced by the findings of that type and the diagnoses of its scheme.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

from pathway.protocol.model import Condition, Protocol, Stage
from pathway.protocol.roles import numbered_with

Axis = tuple[str, str, str]
"""Kind (finding, age, predicted, diagnosis, stage, wish), name, and the leg or the share of draws below the value."""
Cell = float | str | bool | None
"""A value that stands for its interval; None for a finding that was not measured."""
Cells = frozenset[Cell]
Box = Mapping[Axis, Cells]
Wanted = tuple[Condition, bool]

DONE, PLANNED, OFFERED, NEITHER = "done", "planned", "offered", "neither"
STATES_OF = {
    "done": frozenset({DONE}),
    "not_done": frozenset({PLANNED, OFFERED, NEITHER}),
    "planned": frozenset({DONE, PLANNED}),
    "offered": frozenset({DONE, PLANNED, OFFERED}),
}


@dataclass(frozen=True, slots=True)
class Example:
    """One child as far as a condition looks at it: a value for each axis."""

    values: Mapping[Axis, Cell]

    @property
    def words(self) -> str:
        """Return the values as they are printed in a complaint: `femoral_head = stiff, age_years = 7`."""
        return ", ".join(f"{_name(axis)} = {_value(cell)}" for axis, cell in self.values.items()) or "any child"


def _name(axis: Axis) -> str:
    kind, name, detail = axis
    if kind == "predicted":
        return f"{name} ({round(100 * (1 - float(detail)))} of 100 draws at or above)"
    return f"{name} of the other leg" if detail == "other" else name if kind != "stage" else f"stage {name}"


def _value(cell: Cell) -> str:
    if cell is None:
        return "not measured"
    return ("yes" if cell else "no") if isinstance(cell, bool) else cell if isinstance(cell, str) else f"{cell:g}"


class Space:
    """The cells of one protocol. Its references must be sound (`protocol.check.faults_of` finds nothing)."""

    def __init__(self, protocol: Protocol) -> None:
        self.protocol = protocol
        self._schemes = {scheme.id: scheme for scheme in protocol.classifications}
        self._types: dict[tuple[str, tuple[str, ...]], Condition] = {}
        self._cells: dict[Axis, Cells] = {}
        self._holding: dict[int, tuple[Axis, Cells]] = {}
        self._kept: list[Condition] = []
        self._bounds: dict[tuple[str, str], set[float]] = {}
        self._asked_known: set[str] = set()
        for condition in conditions(protocol):
            for leaf in condition.leaves():
                name = ("finding", leaf.finding) if leaf.finding is not None else ("quantity", str(leaf.quantity))
                self._bounds.setdefault(name, set()).update(_bounds(leaf))
                if leaf.known or leaf.missing:
                    self._asked_known.add(str(leaf.finding))

    def example(self, *wanted: Wanted) -> Example | None:
        """Return one child for whom each condition holds (True) or fails (False) as wanted, None if there is none."""
        for box in self.boxes(*wanted):
            return Example({axis: self._pick(axis, box) for axis in sorted(box)})
        return None

    def boxes(self, *wanted: Wanted) -> Iterator[Box]:
        """Yield boxes of cells in which each condition holds or fails as wanted; together they are all such cells."""
        return (box for box in self._narrow(list(wanted), {}) if _rising(box) is not None)

    def cells(self, axis: Axis) -> Cells:
        """Return all cells of an axis."""
        if axis not in self._cells:
            self._cells[axis] = frozenset(self._all_cells(axis))
        return self._cells[axis]

    def holding(self, leaf: Condition) -> tuple[Axis, Cells]:
        """Return the axis of a comparison and the cells in which it holds."""
        if id(leaf) not in self._holding:
            self._kept.append(leaf)
            axis = _axis(leaf)
            cells = frozenset(cell for cell in self.cells(axis) if _holds(leaf, cell))
            self._holding[id(leaf)] = (axis, cells)
        return self._holding[id(leaf)]

    def _narrow(self, todo: list[Wanted], box: dict[Axis, Cells]) -> Iterator[Box]:
        branching: list[tuple[tuple[Condition, ...], bool]] = []
        todo, box = list(todo), dict(box)
        while todo:
            condition, wanted = todo.pop()
            if condition.classification is not None:
                condition = self._expanded(condition)
            parts = condition.all if condition.all is not None else condition.any
            if condition.negate is not None:
                todo.append((condition.negate, not wanted))
            elif parts is None:
                axis, cells = self._literal(condition, wanted)
                box[axis] = box.get(axis, self.cells(axis)) & cells
                if not box[axis]:
                    return
            elif (condition.all is not None) == wanted:
                todo.extend((part, wanted) for part in parts)
            else:
                branching.append((parts, wanted))
        branching = [item for item in branching if not any(self._settled(part, item[1], box) for part in item[0])]
        if not branching:
            yield box
            return
        branching.sort(key=lambda item: len(item[0]))
        (parts, wanted), rest = branching[0], branching[1:]
        others = [(_joined(parts_, wanted_), wanted_) for parts_, wanted_ in rest]
        for part in parts:
            yield from self._narrow([*others, (part, wanted)], box)

    def _literal(self, leaf: Condition, wanted: bool) -> tuple[Axis, Cells]:
        axis, cells = self.holding(leaf)
        if wanted:
            return axis, cells
        # A finding that is not measured fails no comparison: it leaves it unknown; only `known` misses it.
        missing = frozenset[Cell]() if leaf.known or leaf.missing else frozenset[Cell]({None})
        return axis, self.cells(axis) - cells - missing

    def _settled(self, part: Condition, wanted: bool, box: Mapping[Axis, Cells]) -> bool:
        if any(form is not None for form in (part.all, part.any, part.negate, part.classification)):
            return False
        axis, cells = self._literal(part, wanted)
        return axis in box and box[axis] <= cells

    def _expanded(self, leaf: Condition) -> Condition:
        key = (str(leaf.classification), leaf.one_of or ())
        if key not in self._types:
            scheme = self._schemes[key[0]]
            whom = tuple(Condition(diagnosis=name) for name in scheme.applies_to)
            kinds = tuple(kind.when for kind in scheme.types if kind.type in key[1])
            self._types[key] = Condition(all=(Condition(any=whom), Condition(any=kinds)))
        return self._types[key]

    def _all_cells(self, axis: Axis) -> Iterable[Cell]:
        kind, name, _ = axis
        if kind == "diagnosis":
            return [item.id for item in self.protocol.diagnoses]
        if kind == "wish":
            return [True, False]
        if kind == "stage":
            return states_of(self.protocol.stage(name), self.protocol)
        if kind == "age":
            return _cut(self._bounds["quantity", name], 0.0, None)
        if kind == "predicted":
            return _cut(self._bounds["quantity", name], None, None)
        rule = self.protocol.finding(name)
        missing: list[Cell] = [None] if name in self._asked_known else []
        if rule.kind == "flag":
            return [True, False, *missing]
        if rule.kind == "choice":
            return [*rule.choices, *missing]
        low, high = rule.plausible or (None, None)
        return [*_cut(self._bounds["finding", name], low, high), *missing]

    def _pick(self, axis: Axis, box: Box) -> Cell:
        # The first cell in print order; among numbers the lowest, so that shares of one prediction stay in order.
        numbers = sorted(cell for cell in box[axis] if isinstance(cell, float))
        rising = _rising(box) if axis[0] == "predicted" else None
        if rising is not None:
            return rising[axis]
        return numbers[0] if numbers else min(box[axis], key=str)


def conditions(protocol: Protocol) -> Iterator[Condition]:
    """Yield every condition of the protocol, those of gaps included."""
    for scheme in protocol.classifications:
        yield from (kind.when for kind in scheme.types)
        if scheme.gap_when is not None:
            yield scheme.gap_when
    yield from (rule.when for rule in protocol.indications)
    yield from (rule.when for rule in protocol.contraindications)
    yield from (gate.requires for gate in protocol.gates)
    yield from (rule.tested for rule in protocol.devices if rule.tested is not None)
    yield from (goal.requires for goal in protocol.goals if goal.requires is not None)
    yield from (visit.when for visit in protocol.follow_ups if visit.when is not None)
    yield from (rule.when for rule in protocol.both_sided if rule.when is not None)
    yield from (rule.when for rule in protocol.amount_limits if rule.when is not None)
    yield from (rule.when for rule in protocol.cautions if rule.when is not None)
    yield from (rule.when for rule in protocol.spans)


def states_of(stage: Stage, protocol: Protocol) -> frozenset[str]:
    """Return what can become of a stage: it is done, planned or offered only as the rules indicate it."""
    found = {DONE, NEITHER}
    if numbered_with(stage, protocol) is not None:
        return frozenset(found | {PLANNED})
    for rule in protocol.indications:
        if rule.stage == stage.id:
            found.add(OFFERED if rule.optional and stage.bone is None else PLANNED)
    return frozenset(found)


def _joined(parts: tuple[Condition, ...], wanted: bool) -> Condition:
    return Condition(any=parts) if wanted else Condition(all=parts)


def _bounds(leaf: Condition) -> list[float]:
    given = (leaf.at_least, leaf.above, leaf.at_most, leaf.below)
    return [float(bound) for bound in given if bound is not None]


def _axis(leaf: Condition) -> Axis:
    if leaf.finding is not None:
        return ("finding", leaf.finding, leaf.leg)
    if leaf.diagnosis is not None:
        return ("diagnosis", "diagnosis", "")
    if leaf.stage is not None:
        return ("wish" if leaf.equals == "wished" else "stage", leaf.stage, "")
    if leaf.quantity == "age_years":
        return ("age", "age_years", "")
    chance = 0.5 if leaf.chance is None else leaf.chance
    upward = leaf.at_least is not None or leaf.above is not None
    return ("predicted", str(leaf.quantity), f"{1 - chance if upward else chance:.4f}")


def _holds(leaf: Condition, cell: Cell) -> bool:
    if cell is None:
        return False
    if leaf.known:
        return True
    if leaf.diagnosis is not None:
        return cell == leaf.diagnosis
    if leaf.stage is not None and leaf.equals == "wished":
        return cell is True
    if leaf.stage is not None:
        return cell in STATES_OF[str(leaf.equals)]
    if leaf.equals is not None:
        return cell == leaf.equals
    if leaf.one_of is not None:
        return cell in leaf.one_of
    value = float(cell)
    if leaf.at_least is not None:
        return value >= leaf.at_least
    if leaf.above is not None:
        return value > leaf.above
    if leaf.at_most is not None:
        return value <= leaf.at_most
    return leaf.below is not None and value < leaf.below


def _cut(bounds: Iterable[float], low: float | None, high: float | None) -> list[float]:
    """Return each bound and the midpoint of each interval between `low`, the bounds and `high` (None: endless)."""
    inner = sorted({bound for bound in bounds if (low is None or bound >= low) and (high is None or bound <= high)})
    least = low if low is not None else (inner[0] if inner else 0.0) - 1
    most = high if high is not None else (inner[-1] if inner else 0.0) + 1
    points = sorted({float(least), *inner, float(most)})
    return sorted({*points, *((one + two) / 2 for one, two in pairwise(points))})


def _rising(box: Box) -> Mapping[Axis, float] | None:
    """Return a value for each predicted axis, rising with the share of draws below it; None where none fits."""
    chosen: dict[Axis, float] = {}
    last: dict[str, float] = {}
    for axis in sorted(axis for axis in box if axis[0] == "predicted"):
        fits = [float(cell) for cell in box[axis] if isinstance(cell, float) and cell >= last.get(axis[1], cell)]
        if not fits:
            return None
        chosen[axis] = last[axis[1]] = min(fits)
    return chosen
