"""The timeline: stages in their lanes above one age axis, the leg difference by age below it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from pathway.days import age_on, age_words
from pathway.plan.model import Plan, PlanStage, Quantiles
from pathway.views.pictures import chart, lanes
from pathway.views.pictures.curve import MEASURED, cm, curve
from pathway.views.pictures.ends import ROWS as ROWS_OF_END
from pathway.views.pictures.ends import draw_ends
from pathway.views.pictures.lanes import Lanes, draw_ages, draw_lanes
from pathway.views.pictures.picture import Axis, Canvas, Picture, Role, stage_role
from pathway.views.pictures.rows import DRAWN
from pathway.views.pictures.short_names import LANES
from pathway.views.pictures.symbols import Symbols
from pathway.views.pictures.ways import LEAST_WIDTH, draw_ways
from pathway.views.words import roads
from pathway.views.words.plan import STATUS_MARKS, STATUS_WORDS, amount_words, road_mark, state_words, when_words
from pathway.views.words.sides import in_brackets, side_words
from pathway.views.words.wrapping import wrap

GUTTER = 11
"""Columns at the left of the curve for its centimetres."""
ASIDE = 30
"""Columns at the right of a curve for the ways and the end."""
BEFORE_TODAY_YEARS = 0.5
"""What is shown of the past where it is folded away."""
BANDS = "░▒"
NO_CURVE = "No growth projection: no leg length was measured."
BOTH_SHORT = "No growth projection: both legs are short, each bone is compared with normal lengths."


def timeline_ages(plan: Plan, *, past: bool = True) -> tuple[float, float]:
    """Return the ages in years that the whole timeline needs: first event shown to maturity or the last stage.

    Without the `past` it starts shortly before today, or with what is under way.
    """
    dated = [(lanes.ages(plan, stage), stage) for stage in plan.stages if stage.date is not None]
    today = plan.child.age_years
    first = [today, *(start for (start, _), stage in dated if past or stage.status != "done")]
    first += [point.age_years for point in plan.growth.measured] if past else []
    last = [plan.growth.mature_age_years, today + 1, *(end for (_, end), _ in dated)]
    start = min(first) if past else today - BEFORE_TODAY_YEARS
    return max(0.0, math.floor(4 * start) / 4), math.ceil(4 * max(last) + 0.5) / 4


def timeline(
    plan: Plan,
    width: int,
    chart_rows: int,
    from_age: float,
    to_age: float,
    *,
    goal_mm: tuple[float, float] | None = None,
    selected: str | None = None,
    shaded: bool = False,
    past: bool = True,
    symbols: Symbols = Symbols.BRAILLE,
) -> Picture:
    """Return the whole timeline between two ages in years: lanes in as many rows as they need, curve, legend.

    `goal_mm` is the goal band of the protocol; `shaded` draws the bands as ░▒ for screens without colour. Raises
    ValueError where the ages do not ascend.
    """
    above = lanes_of(plan, width, from_age, to_age, selected=selected, past=past)
    own = width < lanes.WIDE
    axis = curve_axis(width, from_age, to_age) if own else above.columns.axis
    below = curve_picture(plan, axis, width, chart_rows, goal_mm=goal_mm, shaded=shaded, ages=own, symbols=symbols)
    marks = legend(plan, width, goal_mm)
    return stacked((above.picture, below, marks), " ".join(_alt(plan)))


def curve_axis(width: int, from_age: float, to_age: float) -> Axis:
    """Return the axis of a curve that lies below no lanes: as wide as there is room, the ways beside it if wide."""
    right = width - 1 if width < lanes.WIDE else width - ASIDE
    return Axis(from_age, to_age, GUTTER, max(GUTTER + 1, right))


def lanes_of(
    plan: Plan, width: int, from_age: float, to_age: float, *, selected: str | None = None, past: bool = False
) -> Lanes:
    """Return the lanes with what they say in words."""
    drawn = draw_lanes(plan, width, from_age, to_age, selected=selected, past=past)
    return replace(drawn, picture=replace(drawn.picture, alt=" ".join(_alt(plan))))


def curve_picture(
    plan: Plan,
    axis: Axis,
    width: int,
    rows: int,
    *,
    goal_mm: tuple[float, float] | None = None,
    shaded: bool = False,
    aside: bool = True,
    ages: bool = False,
    symbols: Symbols = Symbols.BRAILLE,
) -> Picture:
    """Return the leg difference by age on an axis, the ways and the end beside it where there is room.

    `ages` draws the axis beneath; else it lies below lanes that have it.
    """
    canvas = Canvas(width, rows)
    room = rows - 2 if ages else rows
    has_chart = curve(plan) is not None or bool(plan.growth.measured)
    if has_chart and room >= 2:
        chart.draw(canvas, plan, axis, 0, room, goal_mm, shaded=shaded, symbols=symbols)
    if curve(plan) is None and room >= 1:
        _draw_instead(canvas, 0, room, axis, plan)
    if ages and rows >= 2:
        draw_ages(canvas, rows - 2, axis, plan)
        canvas.put(rows - 2, 0, "Age, years", Role.AXIS)
    if axis.from_age <= plan.child.age_years <= axis.to_age:
        for row in range(room):
            canvas.put_if_blank(row, axis.column(plan.child.age_years), "┊", Role.TODAY)
    left = axis.right + 1
    if aside and width - left >= LEAST_WIDTH:
        _draw_aside(canvas, plan, left, width - left, rows, goal_mm)
    return canvas.picture(" ".join(_alt(plan)))


def _draw_aside(
    canvas: Canvas, plan: Plan, left: int, width: int, rows: int, goal_mm: tuple[float, float] | None
) -> None:
    """Draw the end at the bottom and the ways above it; where there is room for one of them, the end."""
    told = plan.recommended is not None and plan.recommended.residual_mm is not None and rows >= ROWS_OF_END
    free = rows - (ROWS_OF_END + 1 if told else 0)
    draw_ways(canvas, plan, left, width, 0, free)
    if told:
        draw_ends(canvas, plan, left, width, rows - ROWS_OF_END, goal_mm)


def growth_chart(plan: Plan, width: int, height: int, symbols: Symbols = Symbols.BRAILLE) -> Picture | None:
    """Return the curve of the timeline alone, for printing: bands as ░▒, ages beneath; None without a projection."""
    if curve(plan) is None:
        return None
    axis = Axis(*timeline_ages(plan), GUTTER, max(GUTTER + 1, width - 1))
    return curve_picture(plan, axis, width, height, shaded=True, aside=False, ages=True, symbols=symbols)


def stacked(pictures: tuple[Picture, ...], alt: str) -> Picture:
    """Return pictures below each other as one."""
    spans, height = [], 0
    for picture in pictures:
        spans += [replace(span, row=span.row + height) for span in picture.spans]
        height += picture.height
    return Picture(max(picture.width for picture in pictures), height, tuple(spans), alt)


def _draw_instead(canvas: Canvas, top: int, rows: int, axis: Axis, plan: Plan) -> None:
    """Say that there is no curve, and which findings would bring one or settle what is open."""
    left = min(axis.left, GUTTER)
    lines = [(line, Role.TEXT) for line in wrap(no_curve(plan), canvas.width - left)]
    for question in plan.open_questions:
        said = wrap(f"Measure first: {question.label}", canvas.width - left, "", "  ")
        lines += [(line, Role.LEGEND) for line in said]
    more = len(lines) > rows
    for offset, (line, role) in enumerate(lines[: rows - more]):
        canvas.put(top + offset, left, line, role)
    if more:
        canvas.put(top + rows - 1, left, "Measure first: and more", Role.LEGEND)


def no_curve(plan: Plan) -> str:
    """Return why there is no curve: nothing was measured, or both legs are short and nothing is projected."""
    return BOTH_SHORT if plan.child.affected_side == "both" else NO_CURVE


def legend(
    plan: Plan,
    width: int,
    goal_mm: tuple[float, float] | None = None,
    *,
    past: bool = True,
    shaded: bool = True,
    lanes_shown: bool = True,
    curve_shown: bool = True,
) -> Picture:
    """Return what the marks of lanes and curve mean, in as many rows as the width asks for.

    `shaded`: the bands are drawn as ░▒, not as colours behind.
    """
    rows: list[list[tuple[int, str, Role, str]]] = [[]]
    used = 0
    marks = (
        *(_marks_of_lanes(plan, past=past) if lanes_shown else ()),
        *(_marks_of_curve(plan, goal_mm) if curve_shown else ()),
    )
    for mark, role, words in marks:
        need = len(mark) + 1 + len(words)
        if rows[-1] and used + need > width:
            rows.append([])
            used = 0
        rows[-1].append((used, mark, role, words))
        used += need + 2
    canvas = Canvas(width, len(rows))
    for row, items in enumerate(rows):
        for column, mark, role, words in items:
            canvas.put(row, column, mark, role)
            if mark == BANDS and not shaded:
                canvas.put(row, column, "  ", Role.BLANK)
                canvas.lay_behind(row, column, Role.BAND90)
                canvas.lay_behind(row, column + 1, Role.BAND50)
            canvas.put(row, column + len(mark) + 1, words, Role.LEGEND)
    return canvas.picture("")


def _marks_of_lanes(plan: Plan, *, past: bool) -> Iterator[tuple[str, Role, str]]:
    seen = {stage.status for stage in plan.stages} - (set() if past else {"done"})
    for status, mark in STATUS_MARKS.items():
        if status in seen:
            yield mark, stage_role(status), STATUS_WORDS[status]
    coming = [stage for stage in plan.stages if stage.window is not None and not stage.begun]
    if coming:
        yield lanes.WINDOW, Role.WINDOW, "allowed"
    if any(roads.of_lengthening(plan, stage) for stage in plan.stages):
        yield DRAWN, Role.LABEL, "lengthening road, not chosen"
    bounded = [stage for stage in coming if stage.window is not None and stage.window.latest]
    if any(stage.operation or stage.road == "prosthetic" for stage in bounded):
        yield lanes.LAST, Role.LAST_DAY, "last day"


def _marks_of_curve(plan: Plan, goal_mm: tuple[float, float] | None) -> Iterator[tuple[str, Role, str]]:
    if plan.growth.measured:
        yield MEASURED, Role.MEASURED, "measured"
    if curve(plan) is not None:
        yield "┈", Role.GOAL, "goal" if goal_mm is None else chart.goal_words(goal_mm)
        yield BANDS, Role.LEGEND, "90, 50 of 100"


def _alt(plan: Plan) -> Iterator[str]:
    child, growth = plan.child, plan.growth
    yield f"The timeline of {child.id} on {plan.on}, {age_on(child.date_of_birth, plan.on)} old."
    for lane, label in LANES.items():
        for stage in roads.other_stages(plan):
            if stage.lane == lane:
                yield _stage_sentence(plan, label, stage)
    for stage in roads.prosthetic_stages(plan):
        yield f"{stage.label}: {when_words(plan, stage)}, no date."
    for point in growth.measured:
        yield f"Measured on {point.date}: leg difference {cm(point.discrepancy_mm)}."
    if growth.at_maturity is None or not growth.by_age:
        yield no_curve(plan)
        return
    last = growth.by_age[-1]
    grown = age_words(growth.mature_age_years)
    yield f"At maturity, at {grown}, without further operations: {_spread(growth.at_maturity.discrepancy_mm)}."
    yield f"With the plan as it stands, at {age_on(child.date_of_birth, last.date)}: {_spread(last.with_plan_mm)}."
    course = plan.recommended
    if course is not None and course.residual_mm is not None:
        yield f"With later steps set anew at every visit: {_spread(course.residual_mm)}."


def _stage_sentence(plan: Plan, lane: str, stage: PlanStage) -> str:
    words = f"{lane}: {stage.label}{road_mark(plan, stage)}, {state_words(stage)}"
    if stage.date is not None:
        words += f", {stage.date} at {age_on(plan.child.date_of_birth, stage.date)}"
    else:
        words += ", no date"
    amount = amount_words(stage)
    return f"{words}, {amount}." if amount else f"{words}."


def _spread(spread: Quantiles) -> str:
    return f"{side_words(spread.p50)}, about 90 of 100 between {in_brackets(spread.p05, spread.p95)} cm"
