"""The lanes of the timeline: names at the left, bars and allowed windows on the age axis, dates at the right.

A name has a column of its own and as many lines as it needs: it is never dropped, cut or laid over a bar.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from pathway.days import age_years
from pathway.plan.model import Plan, PlanStage
from pathway.views.pictures.picture import Axis, Canvas, Picture, Role, stage_role
from pathway.views.pictures.rows import Listed, Row, Rows, mark_of, rows_of
from pathway.views.pictures.short_names import LANES, NARROW_LANES
from pathway.views.words.plan import STATUS_MARKS
from pathway.views.words.wrapping import wrap

WIDE, WIDEST = 100, 140
"""Columns from which amounts have a column of their own, and from which names may take as much as they need."""
NARROW_NAME, WIDE_NAME = 28, 35
DATE, AMOUNT, SLIP = 10, 7, 8
HEAD_ROWS = 2
LAST, WINDOW = "┃", "░"
EARLIER, LATER = "◂", "▸"
ANY_TIME = "any time"


@dataclass(frozen=True, slots=True)
class Columns:
    """Where everything stands: lanes from 0 on, names from `name` on (mark and blank before them), the age axis."""

    width: int
    name: int
    name_width: int
    axis: Axis

    @property
    def planned(self) -> int:
        """Return the column of the dates."""
        return self.axis.right + 1

    @property
    def slip(self) -> int:
        """Return the column that says how long a stage may wait."""
        return self.width - SLIP


@dataclass(frozen=True, slots=True)
class Lanes:
    """The drawn lanes: the picture with its head of `HEAD_ROWS`, and the rows in which each stage is named."""

    picture: Picture
    columns: Columns
    places: Mapping[str, tuple[int, int]]


@lru_cache(maxsize=1024)
def age_on(born: datetime.date, day: datetime.date) -> float:
    """Return the age in decimal years on a day; kept, because a picture asks for the same days over and over."""
    return age_years(born, day)


def ages(plan: Plan, stage: PlanStage) -> tuple[float, float]:
    """Return the ages in years at which a dated stage starts and ends; raises ValueError without a date."""
    if stage.date is None:
        raise ValueError(f"{stage.id} has no date")
    born = plan.child.date_of_birth
    return age_on(born, stage.date), age_on(born, stage.end_date or stage.date)


def columns_of(rows: Rows, width: int, from_age: float, to_age: float) -> Columns:
    """Return where everything stands in a width; raises ValueError where the ages do not ascend."""
    if not from_age < to_age:
        raise ValueError(f"ages must ascend: {from_age} to {to_age}")
    wide = width >= WIDE
    lane = max(len(word) for word in (LANES if wide else NARROW_LANES).values()) + 1
    most = NARROW_NAME if not wide else WIDE_NAME if width < WIDEST else width // 4
    needed = max((len(_name(row, wide=wide)) for row in (*rows.dated, *rows.road)), default=0)
    right = 1 + DATE + 1 + (AMOUNT + 1 if wide else 0) + SLIP
    name = min(most, max(needed, WIDE_NAME if wide else NARROW_NAME))
    left = lane + 2 + name + 1
    left = min(left, max(1, width - right - 8))
    return Columns(width, lane, max(8, left - lane - 3), Axis(from_age, to_age, left, max(left + 1, width - right)))


def draw_lanes(
    plan: Plan,
    width: int,
    from_age: float,
    to_age: float,
    *,
    selected: str | None = None,
    past: bool = False,
    fold_key: str = "p",
) -> Lanes:
    """Return all lanes of a plan between two ages in years, in as many rows as they need.

    `past` shows what is done too; `fold_key` is the key that opens it, named where it is folded.
    """
    rows = rows_of(plan, selected, past=past)
    columns = columns_of(rows, width, from_age, to_age)
    named = [(row, _texts(row, columns)) for row in (*rows.dated, *rows.road)]
    listed = [(item, list(_lines(item, columns, width))) for item in rows.listed]
    height = HEAD_ROWS + sum(len(names) for _, (names, _) in named) + sum(len(lines) for _, lines in listed)
    canvas = Canvas(width, height)
    places: dict[str, tuple[int, int]] = {}
    at, lane = HEAD_ROWS, ""
    split = len(rows.dated)
    for row, texts in named[:split]:
        at, lane = _draw_row(canvas, at, row, texts, columns, plan, places, lane, selected), row.lane
    for item, flowed in listed:
        canvas.put(at, 0, _lane_word(item.lane, columns), Role.LANE_LABEL)
        for line in flowed:
            _draw_listed(canvas, at, line, columns, places)
            at += 1
    for row, texts in named[split:]:
        at, lane = _draw_row(canvas, at, row, texts, columns, plan, places, lane, selected), row.lane
    _draw_head(canvas, columns, plan, rows.folded, fold_key)
    return Lanes(canvas.picture(""), columns, places)


def _texts(row: Row, columns: Columns) -> tuple[list[str], list[str]]:
    """Return the lines of a row's name and of its day, equally many: neither is cut."""
    names = wrap(_name(row, wide=columns.width >= WIDE), columns.name_width)
    room = columns.width - columns.planned if not row.slip and not row.amount else DATE
    days = wrap(row.planned, max(room, DATE)) if row.planned else [""]
    most = max(len(names), len(days))
    return names + [""] * (most - len(names)), days + [""] * (most - len(days))


def _name(row: Row, *, wide: bool) -> str:
    return row.name if wide or not row.amount else f"{row.name}, {row.amount}"


def _lane_word(lane: str, columns: Columns) -> str:
    if columns.width >= WIDE:
        return lane
    return next((NARROW_LANES[key] for key, word in LANES.items() if word == lane), NARROW_LANES.get(lane, lane))


def _draw_row(
    canvas: Canvas,
    at: int,
    row: Row,
    texts: tuple[Sequence[str], Sequence[str]],
    columns: Columns,
    plan: Plan,
    places: dict[str, tuple[int, int]],
    lane: str,
    selected: str | None,
) -> int:
    """Draw one row from line `at` on; return the line after it."""
    target, axis = row.shown.id, columns.axis
    names, days = texts
    _draw_today(canvas, range(at, at + len(names)), axis, plan)
    if row.lane != lane:
        canvas.put(at, 0, _lane_word(row.lane, columns), Role.LANE_LABEL)
    canvas.put(at, columns.name, mark_of(row), stage_role(row.shown.status), target)
    for offset, (line, day) in enumerate(zip(names, days, strict=True)):
        canvas.put(at + offset, columns.name + 2, line, Role.LABEL, target)
        canvas.put(at + offset, columns.planned, day, Role.TEXT, target)
    if columns.width >= WIDE:
        canvas.put(at, columns.slip - 1 - len(row.amount), row.amount, Role.TEXT, target)
    canvas.put(at, columns.width - len(row.slip), row.slip, Role.TEXT, target)
    dated = sorted((stage for stage in row.stages if stage.date is not None), key=lambda stage: stage is row.shown)
    starts = [_draw_bar(canvas, at, stage, axis, plan) for stage in dated]  # the one that is spoken of lies on top
    _draw_window(canvas, at, row.shown, axis, plan, starts, told=len(row.stages) == 1 or selected == target)
    for stage in row.stages:
        places[stage.id] = (at, at + len(names) - 1)
    return at + len(names)


def _draw_bar(canvas: Canvas, at: int, stage: PlanStage, axis: Axis, plan: Plan) -> int:
    """Draw a stage as its mark and a line over the time it takes, an arrow where it lies outside the view."""
    first, last = ages(plan, stage)
    role = stage_role(stage.status)
    if last < axis.from_age or first > axis.to_age:
        outside = axis.left if last < axis.from_age else axis.right - 1
        canvas.put(at, outside, EARLIER if last < axis.from_age else LATER, role, stage.id)
        return outside
    start = axis.column(first)
    end = max(start + 1, min(axis.right, round(axis.place(last))))
    canvas.put(at, start, STATUS_MARKS[stage.status] + "━" * (end - start - 1), role, stage.id)
    return start


def _draw_window(
    canvas: Canvas, at: int, stage: PlanStage, axis: Axis, plan: Plan, starts: Sequence[int], *, told: bool
) -> None:
    """Draw the days that the rules allow as a texture behind the bar, the last one as a mark that nothing covers."""
    window = stage.window
    if window is None or stage.begun or not told or not (stage.operation or stage.road == "prosthetic"):
        return
    born = plan.child.date_of_birth
    first = age_on(born, window.earliest)
    last = age_on(born, window.latest) if window.latest else axis.to_age
    if last < axis.from_age or first > axis.to_age:
        return
    end = axis.column(last)
    for column in range(axis.column(first), end + (0 if window.latest and last <= axis.to_age else 1)):
        canvas.put_if_blank(at, column, WINDOW, Role.WINDOW, stage.id)
    if window.latest and last <= axis.to_age:
        # The mark of the stage itself may stand on that very cell of the axis: the last day then stands behind it.
        canvas.put(at, end + 1 if end in starts else end, LAST, Role.LAST_DAY, stage.id)


def _lines(item: Listed, columns: Columns, width: int) -> Iterator[list[tuple[PlanStage, int, str]]]:
    """Yield the lines of stages that are listed by name: as many beside each other as there is room, each whole."""
    room, used = width - columns.name, 0
    line: list[tuple[PlanStage, int, str]] = []
    for stage, words in item.named:
        parts = wrap(words, room - 2)
        need = 2 + len(parts[0])
        if line and used + need > room:
            yield line
            line, used = [], 0
        for part in parts[:-1]:
            yield [*line, (stage, columns.name + used, part)]
            line, used = [], 0
        line.append((stage, columns.name + used, parts[-1]))
        used += 2 + len(parts[-1]) + 2
    if line:
        yield line


def _draw_listed(
    canvas: Canvas,
    at: int,
    line: Sequence[tuple[PlanStage, int, str]],
    columns: Columns,
    places: dict[str, tuple[int, int]],
) -> None:
    for stage, column, words in line:
        if stage.id not in places:
            canvas.put(at, column, STATUS_MARKS[stage.status], stage_role(stage.status), stage.id)
        first = places.get(stage.id, (at, at))[0]
        canvas.put(at, column + 2, words, Role.LABEL, stage.id)
        places[stage.id] = (first, at)


def _draw_head(canvas: Canvas, columns: Columns, plan: Plan, folded: int, key: str) -> None:
    axis = columns.axis
    done = f"Before today: {folded} done ({key})" if folded else "Age, years"
    canvas.put(0, 0, done, Role.AXIS)
    draw_ages(canvas, 0, axis, plan)
    canvas.put(0, columns.planned, "planned", Role.AXIS)
    canvas.put(0, columns.slip, "may slip", Role.AXIS)


def draw_ages(canvas: Canvas, row: int, axis: Axis, plan: Plan) -> None:
    """Draw the axis in two rows: ages in years, below them the calendar with today."""
    for column in range(axis.left, axis.right):
        canvas.put(row, column, "─", Role.AXIS)
    cells = (axis.right - axis.left) / (axis.to_age - axis.from_age)
    every = max(1, math.ceil(4 / cells))
    for age in range(math.ceil(axis.from_age), math.floor(axis.to_age) + 1):
        if age % every == 0:
            _centred(canvas, row, axis.column(age), f"{age}", axis)
    born = plan.child.date_of_birth
    every = max(1, math.ceil(6 / cells))
    shown = axis.from_age <= plan.child.age_years <= axis.to_age
    today = max(axis.left + 2, axis.column(plan.child.age_years))
    for year in range(born.year + 1, born.year + math.ceil(axis.to_age) + 2):
        at = age_on(born, born.replace(year=year, month=1, day=1))
        if axis.from_age <= at <= axis.to_age and year % every == 0 and (not shown or abs(axis.column(at) - today) > 5):
            _centred(canvas, row + 1, axis.column(at), str(year), axis)
    if shown:
        column = axis.column(plan.child.age_years)
        canvas.put(row + 1, max(axis.left, min(axis.right - 5, column - 2)), "today", Role.TODAY)


def _centred(canvas: Canvas, row: int, column: int, text: str, axis: Axis) -> None:
    start = column - (len(text) - 1) // 2
    if axis.left <= start and start + len(text) <= axis.right:
        canvas.put(row, start, text, Role.AXIS)


def _draw_today(canvas: Canvas, rows: range, axis: Axis, plan: Plan) -> None:
    age = plan.child.age_years
    if axis.from_age <= age <= axis.to_age:
        for row in rows:
            canvas.put_if_blank(row, axis.column(age), "┊", Role.TODAY)
