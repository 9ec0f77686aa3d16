"""The timeline: stages in their lanes above one age axis, the leg difference by age below it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

from pathway.days import age_words
from pathway.plan.model import Plan, PlanStage, Quantiles
from pathway.views.pictures import curve as chart
from pathway.views.pictures import lanes
from pathway.views.pictures.curve import cm
from pathway.views.pictures.picture import Axis, Canvas, Picture, Role, stage_role
from pathway.views.pictures.short_names import LANES, names
from pathway.views.words import roads
from pathway.views.words.plan import STATUS_MARKS, STATUS_WORDS, amount_words, road_mark, state_words, when_words

GUTTER = 12
WIDE = 100
ROWS_OF_THE_REST, SHARE_OF_ROAD = 8, 6
"""Of the rows beyond these, so small a share may name the prosthetic road."""
Loose = tuple[PlanStage, str]
"""A stage without a place on the axis, and how it is named."""
LEAST_CHART_ROWS = 7
ROWS_FOR_LEGEND = 22
NO_CURVE = "No growth projection: no leg length was measured."
BOTH_SHORT = "No growth projection: both legs are short, each bone is compared with normal lengths."


def timeline_ages(plan: Plan) -> tuple[float, float]:
    """Return the ages in years that the whole timeline needs: first event shown to maturity or the last stage."""
    dated = [lanes.ages(plan, stage) for stage in plan.stages if stage.date is not None]
    first = [plan.child.age_years, *(start for start, _ in dated), *(p.age_years for p in plan.growth.measured)]
    last = [plan.growth.mature_age_years, plan.child.age_years + 1, *(end for _, end in dated)]
    return math.floor(4 * min(first)) / 4, math.ceil(4 * max(last) + 0.5) / 4


def timeline_axis(width: int, from_age: float, to_age: float) -> Axis:
    """Return the age axis of a timeline of that width; raises ValueError where the ages do not ascend."""
    if not from_age < to_age:
        raise ValueError(f"ages must ascend: {from_age} to {to_age}")
    return Axis(from_age, to_age, GUTTER, max(GUTTER + 1, width - 1))


def timeline(
    plan: Plan,
    width: int,
    height: int,
    from_age: float,
    to_age: float,
    *,
    goal_mm: tuple[float, float] | None = None,
    selected: str | None = None,
    shaded: bool = False,
) -> Picture:
    """Return the timeline between two ages in years, in `width` by `height` cells.

    `goal_mm` is the goal band of the protocol; the window of the stage `selected` is drawn before all others;
    `shaded` draws the bands as ░▒ for screens without colour. Raises ValueError where the ages do not ascend.
    """
    axis = timeline_axis(width, from_age, to_age)
    canvas = Canvas(width, height)
    loose, road = _undated_rows(plan, width), _road_rows(plan, width, height)
    legend = 1 if height >= ROWS_FOR_LEGEND else 0
    fixed = 2 + len(loose) + len(road) + legend
    has_chart = chart.curve(plan) is not None or bool(plan.growth.measured)
    wanted = max(LEAST_CHART_ROWS, (height - fixed) // 2) if has_chart else 2
    laid = lanes.lay_out(plan, axis, height - fixed - wanted)
    row = lanes.draw(canvas, laid, 0, axis, plan, selected)
    for name, lines in (("No date yet", loose), ("Prosthesis", road)):
        if lines:
            canvas.put(row, 0, name, Role.LANE_LABEL)
        for line in lines:
            _draw_loose(canvas, row, line)
            row += 1
    _draw_axis(canvas, row, axis, plan)
    rows = height - row - 2 - legend
    if has_chart and rows >= 2:
        chart.draw(canvas, plan, axis, row + 2, rows, goal_mm, shaded)
    if chart.curve(plan) is None and rows >= 1:
        _draw_instead(canvas, row + 2, rows, axis, plan)
    _draw_today(canvas, 0, row + 2 + rows, row, axis, plan)
    if legend:
        _draw_legend(canvas, height - 1, plan)
    return canvas.picture(" ".join(_alt(plan)))


def growth_chart(plan: Plan, width: int, height: int) -> Picture | None:
    """Return the curve of the timeline alone, for printing: bands as ░▒, ages beneath; None without a projection."""
    if chart.curve(plan) is None:
        return None
    axis = timeline_axis(width, *timeline_ages(plan))
    canvas = Canvas(width, height)
    chart.draw(canvas, plan, axis, 0, height - 2, None, shaded=True)
    _draw_axis(canvas, height - 2, axis, plan)
    _draw_today(canvas, 0, height - 2, height - 2, axis, plan)
    return canvas.picture(" ".join(_alt(plan)))


def _draw_instead(canvas: Canvas, top: int, rows: int, axis: Axis, plan: Plan) -> None:
    """Say that there is no curve, and which findings would bring one or settle what is open."""
    canvas.put(top, axis.left, no_curve(plan), Role.TEXT)
    for offset, question in enumerate(plan.open_questions[: max(0, rows - 2)]):
        canvas.put(top + 1 + offset, axis.left, f"Measure first: {question.label}", Role.LEGEND)


def no_curve(plan: Plan) -> str:
    """Return why there is no curve: nothing was measured, or both legs are short and nothing is projected."""
    return BOTH_SHORT if plan.child.affected_side == "both" else NO_CURVE


def _undated_rows(plan: Plan, width: int) -> list[list[Loose]]:
    return _rows([(stage, stage.label) for stage in lanes.undated(plan)], width)


def _road_rows(plan: Plan, width: int, height: int) -> list[list[Loose]]:
    """Return the prosthetic road in its order: names with usual ages, names, short names or marks, as there is room."""
    steps = roads.prosthetic_stages(plan)
    told = ("past" if stage.past_usual is not None else roads.span_words(plan, stage, short=True) for stage in steps)
    ages = [(stage, f"{stage.label} ({age})" if age else stage.label) for stage, age in zip(steps, told, strict=True)]
    long, short = [(stage, stage.label) for stage in steps], [(stage, names(stage)[-2]) for stage in steps]
    room = max(1, (height - ROWS_OF_THE_REST) // SHARE_OF_ROAD)
    made = [_rows(named, width) for named in (*((ages,) if width >= WIDE else ()), long, short)]
    return next((rows for rows in made if len(rows) <= room), _rows([(stage, "") for stage in steps], width))


def _rows(named: Iterable[Loose], width: int) -> list[list[Loose]]:
    rows: list[list[Loose]] = []
    used = width
    for stage, name in named:
        need = 2 + len(name)
        if used + 3 + need > width:
            rows.append([])
            used = GUTTER - 3
        rows[-1].append((stage, name))
        used += 3 + need
    return rows


def _draw_loose(canvas: Canvas, row: int, line: list[Loose]) -> None:
    column = GUTTER
    for stage, name in line:
        canvas.put(row, column, STATUS_MARKS[stage.status], stage_role(stage.status), stage.id)
        if name:
            canvas.put(row, column + 1, f" {name}", Role.LABEL, stage.id)
        column += 2 + len(name) + 3


def _draw_axis(canvas: Canvas, row: int, axis: Axis, plan: Plan) -> None:
    canvas.put(row, 0, "Age, years", Role.AXIS)
    canvas.put(row + 1, 0, "Calendar", Role.AXIS)
    for column in range(axis.left, axis.right):
        canvas.put(row, column, "─", Role.AXIS)
    cells = (axis.right - axis.left) / (axis.to_age - axis.from_age)
    every = max(1, math.ceil(4 / cells))
    for age in range(math.ceil(axis.from_age), math.floor(axis.to_age) + 1):
        if age % every == 0:
            _centred(canvas, row, axis.column(age), f"{age}", axis)
    born = plan.child.date_of_birth
    every = max(1, math.ceil(6 / cells))
    today = max(axis.left + 2, axis.column(plan.child.age_years))
    for year in range(born.year + 1, born.year + math.ceil(axis.to_age) + 2):
        at = lanes.age_on(born, born.replace(year=year, month=1, day=1))
        if axis.from_age <= at <= axis.to_age and year % every == 0 and abs(axis.column(at) - today) > 5:
            _centred(canvas, row + 1, axis.column(at), str(year), axis)


def _centred(canvas: Canvas, row: int, column: int, text: str, axis: Axis) -> None:
    start = column - (len(text) - 1) // 2
    if axis.left <= start and start + len(text) <= axis.right + 1:
        canvas.put(row, start, text, Role.AXIS)


def _draw_today(canvas: Canvas, top: int, bottom: int, axis_row: int, axis: Axis, plan: Plan) -> None:
    age = plan.child.age_years
    if not axis.from_age <= age <= axis.to_age:
        return
    column = axis.column(age)
    for row in range(top, bottom):
        if row not in (axis_row, axis_row + 1):
            canvas.put_if_blank(row, column, "┊", Role.TODAY)
    canvas.put(axis_row + 1, max(axis.left, min(axis.right - 5, column - 2)), "today", Role.TODAY)


def _draw_legend(canvas: Canvas, row: int, plan: Plan) -> None:
    column = 0
    seen = {stage.status for stage in plan.stages}
    for status, mark in STATUS_MARKS.items():
        if status in seen:
            canvas.put(row, column, mark, stage_role(status))
            canvas.put(row, column + 1, f" {STATUS_WORDS[status]}", Role.LEGEND)
            column += len(STATUS_WORDS[status]) + 4
    if plan.growth.measured:
        canvas.put(row, column, chart.MEASURED, Role.MEASURED)
        canvas.put(row, column + 1, " measured", Role.LEGEND)
        column += 12
    if chart.curve(plan) is not None:
        text = "bands: 50 and 90 of 100 children like this one"
        if column + len(text) <= canvas.width:
            canvas.put(row, column, text, Role.LEGEND)


def _alt(plan: Plan) -> Iterator[str]:
    child, growth = plan.child, plan.growth
    yield f"The timeline of {child.id} on {plan.on}, {age_words(child.age_years)} old."
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
    yield f"With the plan as it stands, at {age_words(last.age_years)}: {_spread(last.with_plan_mm)}."
    course = plan.recommended
    if course is not None and course.residual_mm is not None:
        yield f"With later steps set anew at every visit: {_spread(course.residual_mm)}."


def _stage_sentence(plan: Plan, lane: str, stage: PlanStage) -> str:
    words = f"{lane}: {stage.label}{road_mark(plan, stage)}, {state_words(stage)}"
    if stage.date is not None:
        age = f" at {age_words(stage.age_years)}" if stage.age_years is not None else ""
        words += f", {stage.date}{age}"
    else:
        words += ", no date"
    amount = amount_words(stage)
    return f"{words}, {amount}." if amount else f"{words}."


def _spread(spread: Quantiles) -> str:
    return f"{cm(spread.p50)}, about 90 of 100 between {spread.p05 / 10:.1f} and {spread.p95 / 10:.1f} cm"
