"""The lanes of the timeline: every dated stage as a bar with its mark and, where there is room, its name."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from pathway.days import age_years
from pathway.plan.model import Plan, PlanStage
from pathway.views.pictures.picture import Axis, Canvas, Role, stage_role
from pathway.views.pictures.short_names import LANES, names
from pathway.views.words import roads
from pathway.views.words.plan import STATUS_MARKS


@dataclass(frozen=True, slots=True)
class Bar:
    """A stage on the axis: its first column and the column after its last; names, longest first."""

    stage: PlanStage
    start: int
    end: int
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Named:
    """A bar in its row, with the name that fits and where the name starts (inside, right or left)."""

    bar: Bar
    row: int
    name: str
    column: int


@dataclass(frozen=True, slots=True)
class Lane:
    """One lane, laid out in so many rows; `lost` counts the letters of names that found no room."""

    key: str
    rows: int
    named: tuple[Named, ...]
    lost: int


@lru_cache(maxsize=1024)
def age_on(born: datetime.date, day: datetime.date) -> float:
    """Return the age in decimal years on a day; kept, because a picture asks for the same days over and over."""
    return age_years(born, day)


def lay_out(plan: Plan, axis: Axis, rows: int) -> tuple[Lane, ...]:
    """Return the lanes that hold dated stages, in at most `rows` rows where the bars allow it."""
    groups = {key: _bars(plan, key, axis) for key in LANES}
    lanes = {key: _least(key, bars, axis) for key, bars in groups.items() if bars}
    while True:
        room = rows - sum(lane.rows for lane in lanes.values())
        better = [_wider(lane, groups[key], axis) for key, lane in lanes.items()] if room > 0 else []
        gains = [(lanes[lane.key].lost - lane.lost, lane) for lane in better]
        gain, best = max(gains, key=lambda item: item[0], default=(0, None))
        if best is None or gain <= 0:
            return tuple(lanes.values())
        lanes[best.key] = best


def draw(canvas: Canvas, lanes: Sequence[Lane], top: int, axis: Axis, plan: Plan, selected: str | None) -> int:
    """Draw the lanes from row `top` on; return the row after the last."""
    row = top
    for lane in lanes:
        canvas.put(row, 0, LANES[lane.key], Role.LANE_LABEL)
        for item in lane.named:
            _draw_bar(canvas, row + item.row, item)
        for item in sorted(lane.named, key=lambda item: item.bar.stage.id != selected):
            _draw_window(canvas, row + item.row, item, lane, axis, plan)
        row += lane.rows
    return row


def undated(plan: Plan) -> tuple[PlanStage, ...]:
    """Return the stages without a date: blocked, optional, or waiting for what is not known; roads stand apart."""
    return tuple(stage for stage in roads.other_stages(plan) if stage.date is None)


def ages(plan: Plan, stage: PlanStage) -> tuple[float, float]:
    """Return the ages in years at which a dated stage starts and ends; raises ValueError without a date."""
    if stage.date is None:
        raise ValueError(f"{stage.id} has no date")
    born = plan.child.date_of_birth
    return age_on(born, stage.date), age_on(born, stage.end_date or stage.date)


def _bars(plan: Plan, lane: str, axis: Axis) -> tuple[Bar, ...]:
    bars = []
    for stage in plan.stages:
        if stage.lane == lane and stage.date is not None:
            first, last = ages(plan, stage)
            if last < axis.from_age or first > axis.to_age:
                continue
            start = axis.column(first)
            end = max(start + 1, min(axis.right, round(axis.place(last))))
            bars.append(Bar(stage, start, end, names(stage)))
    return tuple(sorted(bars, key=lambda bar: (bar.start, bar.end)))


def _least(key: str, bars: Sequence[Bar], axis: Axis) -> Lane:
    count = 1
    while True:
        lane = _pack(key, bars, count, axis)
        if lane is not None:
            return lane
        count += 1


def _wider(lane: Lane, bars: Sequence[Bar], axis: Axis) -> Lane:
    return _pack(lane.key, bars, lane.rows + 1, axis) or lane


def _pack(key: str, bars: Sequence[Bar], count: int, axis: Axis) -> Lane | None:
    """Return the lane in exactly `count` rows, or None where bars would lie over each other."""
    ends = [(axis.left - 1, axis.left - 1)] * count
    rows: list[int] = []
    for bar in bars:
        open_rows = [row for row in range(count) if ends[row][0] <= bar.start]
        if not open_rows:
            return None
        roomy = [row for row in open_rows if ends[row][1] < bar.start]
        row = roomy[0] if roomy else min(open_rows, key=lambda row: ends[row][1])
        ends[row] = (bar.end, max(bar.end, _reach(bar)))
        rows.append(row)
    named = _name(bars, rows, axis)
    lost = sum(len(item.bar.names[0]) - len(item.name) for item in named)
    return Lane(key, count, named, lost)


def _reach(bar: Bar) -> int:
    longest = len(bar.names[0])
    return bar.end if longest + 4 <= bar.end - bar.start else bar.end + 1 + longest


def _name(bars: Sequence[Bar], rows: Sequence[int], axis: Axis) -> tuple[Named, ...]:
    named: list[Named] = []
    taken: dict[int, int] = {}
    for index, (bar, row) in enumerate(zip(bars, rows, strict=True)):
        following = [other.start for other, at in zip(bars[index + 1 :], rows[index + 1 :], strict=True) if at == row]
        limit = (min(following) - 1) if following else axis.right
        name, column = _fit(bar, taken.get(row, axis.left), limit)
        taken[row] = max(bar.end, column + len(name)) + 1
        named.append(Named(bar, row, name, column))
    return tuple(named)


def _fit(bar: Bar, first: int, limit: int) -> tuple[str, int]:
    """Return the longest name that fits inside the bar, to its right or to its left, and its column."""
    for name in bar.names:
        if name and len(name) + 4 <= bar.end - bar.start:
            return name, bar.start + 3
        if bar.end + 1 + len(name) <= limit:
            return name, bar.end + 1
        if name and first <= bar.start - 1 - len(name):
            return name, bar.start - 1 - len(name)
    return "", bar.end


def _draw_bar(canvas: Canvas, row: int, item: Named) -> None:
    bar, stage = item.bar, item.bar.stage
    role = stage_role(stage.status)
    canvas.put(row, bar.start, STATUS_MARKS[stage.status] + "━" * (bar.end - bar.start - 1), role, stage.id)
    if item.name:
        inside = bar.start < item.column < bar.end
        left_of_it = item.column < bar.start
        text = item.name if left_of_it else f" {item.name}{' ' if inside else ''}"
        canvas.put(row, item.column - (0 if left_of_it else 1), text, Role.LABEL, stage.id)


def _draw_window(canvas: Canvas, row: int, item: Named, lane: Lane, axis: Axis, plan: Plan) -> None:
    """Draw the window as a dotted line where its row is free, up to the neighbours in the same row."""
    window, stage = item.bar.stage.window, item.bar.stage
    if window is None or stage.status == "done":
        return
    born = plan.child.date_of_birth
    first = age_on(born, window.earliest)
    last = age_on(born, window.latest) if window.latest else axis.to_age
    start, end = axis.column(first), axis.column(last)
    low, high = _between(item, lane, axis)
    for column in range(max(start, low), min(end + 1, high)):
        if column % 2 == 0:
            canvas.put_if_blank(row, column, "·", Role.WINDOW, stage.id)
    if low <= start < item.bar.start and axis.from_age <= first:
        _end_mark(canvas, row, start, "├", stage.id)
    if item.bar.end < end < high and window.latest and last <= axis.to_age:
        _end_mark(canvas, row, end, "┤", stage.id)


def _between(item: Named, lane: Lane, axis: Axis) -> tuple[int, int]:
    others = [other.bar for other in lane.named if other.row == item.row and other is not item]
    low = max((bar.end for bar in others if bar.start < item.bar.start), default=axis.left)
    high = min((bar.start for bar in others if bar.start > item.bar.start), default=axis.right)
    return low, high


def _end_mark(canvas: Canvas, row: int, column: int, glyph: str, target: str) -> None:
    cell = canvas.cell(row, column)
    if cell is not None and (cell.role is Role.BLANK or (cell.role is Role.WINDOW and cell.target == target)):
        canvas.put(row, column, glyph, Role.WINDOW, target)
