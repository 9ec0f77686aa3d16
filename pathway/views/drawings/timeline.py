"""The years ahead as a drawing: one row a step, above ages, calendar years and school years."""

from __future__ import annotations

import math
from collections.abc import Iterator

from pathway.days import age_years
from pathway.plan.model import Plan, PlanStage
from pathway.protocol.model import Protocol
from pathway.protocol.roles import role_of
from pathway.views.drawings.drawing import DEEP, FAINT, INK, MIDDLE, PALE, PAPER, SOFT, Drawing, Sheet, text_width_mm
from pathway.views.pictures.timeline import timeline_ages
from pathway.views.words.family_terms import (
    CHECKS,
    Step,
    age_of,
    finished,
    month_of,
    name_of,
    steps,
)
from pathway.views.words.wording import Wording

WIDE_MM, NARROW_MM = 174.0, 92.0
GUTTER_MM, EDGE_MM = 58.0, 3.0
ROW_MM, NARROW_ROW_MM, BAR_MM = 5.6, 9.4, 3.2
LEAST_BAR_MM = 2.2
LAST_SCHOOL_YEAR = 12


class _Scale:
    """Ages in years to mm."""

    def __init__(self, first: float, last: float, left: float, right: float) -> None:
        self.first, self.last, self.left, self.right = first, last, left, right
        self.per_year = (right - left) / (last - first)

    def at(self, age: float) -> float:
        return self.left + (min(max(age, self.first), self.last) - self.first) * self.per_year


def timeline_drawing(
    plan: Plan, words: Wording, protocol: Protocol, width_mm: float = WIDE_MM, *, windows: bool = False
) -> Drawing:
    """Return the years ahead, `width_mm` wide; below 120 mm the names stand above their rows.

    School years begin as the protocol says; `windows` adds from when to when the rules allow each step.
    """
    sheet, narrow = Sheet(), width_mm < 120
    rows = steps(plan)
    behind = finished(plan)
    row_mm = NARROW_ROW_MM if narrow else ROW_MM
    first, last = _ages(plan, behind)
    scale = _Scale(first, last, EDGE_MM if narrow else GUTTER_MM, width_mm - EDGE_MM)
    top = 4.5
    count = len(rows) + bool(behind)
    foot = top + max(1, count) * row_mm + 1
    _ground(sheet, plan, words, scale, top - 3, foot)
    if behind:
        _behind(sheet, plan, words, behind, scale, top, narrow)
    for index, step in enumerate(rows):
        _row(sheet, plan, words, protocol, step, scale, top + (index + bool(behind)) * row_mm, narrow, windows)
    if not count:
        sheet.words(scale.left + 2, top + 4, words.say("timeline.empty"), tone=SOFT)
    below = _axis(sheet, plan, words, protocol, scale, foot, narrow, width_mm)
    height = _key(sheet, plan, words, protocol, below + 4.5, narrow, width_mm, windows)
    return sheet.drawing(width_mm, height, words.say("timeline.title"), " ".join(_alternative(plan, words, rows)))


def _ages(plan: Plan, behind: tuple[PlanStage, ...]) -> tuple[float, float]:
    first, last = timeline_ages(plan)
    ends = [stage.age_years or 0 for stage in behind]
    return math.floor(min([plan.child.age_years, first if behind else plan.child.age_years, *ends])), math.ceil(last)


def _ground(sheet: Sheet, plan: Plan, words: Wording, scale: _Scale, top: float, foot: float) -> None:
    for age in range(math.ceil(scale.first), math.floor(scale.last) + 1):
        sheet.line(scale.at(age), top, scale.at(age), foot, FAINT, 0.25)
    x = scale.at(plan.child.age_years)
    sheet.line(x, top, x, foot, INK, 0.35, "0.2 1")
    sheet.words(x + 1, top + 1.2, words.say("timeline.today"), 7, tone=SOFT, halo=True)


def _row(
    sheet: Sheet,
    plan: Plan,
    words: Wording,
    protocol: Protocol,
    step: Step,
    scale: _Scale,
    y: float,
    narrow: bool,
    windows: bool,
) -> None:
    name = name_of(step.kind, words, step.stages[0].label)
    middle = y + (6.4 if narrow else ROW_MM / 2)
    if narrow:
        sheet.disc(EDGE_MM + 1.7, y + 2.5, 1.75, PAPER, INK)
        sheet.words(EDGE_MM + 1.7, y + 3.4, str(step.number), 7, "middle", strong=True)
        sheet.words(EDGE_MM + 4.6, y + 3.5, name, 8.5, halo=True)
    else:
        sheet.line(0, y + ROW_MM, scale.right, y + ROW_MM, FAINT, 0.2)
        sheet.disc(2.2, middle, 1.85, PAPER, INK)
        sheet.words(2.2, middle + 0.95, str(step.number), 7.5, "middle", strong=True)
        sheet.words(5.4, middle + 1.1, name, 9)
    if windows:
        for stage in step.stages:
            _window(sheet, plan, stage, scale, middle)
    for stage in step.stages:
        _bar(sheet, plan, protocol, stage, scale, middle)


def _span(plan: Plan, stage: PlanStage) -> tuple[float, float]:
    born = plan.child.date_of_birth
    if stage.date is None:
        raise ValueError(f"{stage.id} has no date")
    return age_years(born, stage.date), age_years(born, stage.end_date or stage.date)


def _bar(sheet: Sheet, plan: Plan, protocol: Protocol, stage: PlanStage, scale: _Scale, middle: float) -> None:
    first, last = _span(plan, stage)
    x, wide = scale.at(first), max(LEAST_BAR_MM, scale.at(last) - scale.at(first))
    if stage.lane == CHECKS and wide <= LEAST_BAR_MM:
        sheet.disc(x, middle, 1.25, PAPER, DEEP, 0.5)
    elif stage.lane == CHECKS:
        sheet.bar(x, middle - 0.8, wide, 1.6, PAPER, DEEP)
    elif role_of(stage.kind, protocol) == "lengthening":
        sheet.bar(x, middle - BAR_MM / 2, wide, BAR_MM, DEEP)
    else:
        sheet.bar(x, middle - BAR_MM / 2, wide, BAR_MM, MIDDLE, DEEP)


def _window(sheet: Sheet, plan: Plan, stage: PlanStage, scale: _Scale, middle: float) -> None:
    if stage.window is None or not stage.operation:
        return
    born = plan.child.date_of_birth
    first = age_years(born, stage.window.earliest)
    last = scale.last if stage.window.latest is None else age_years(born, stage.window.latest)
    if first < scale.last and last > first:
        sheet.line(scale.at(first), middle + 2.2, scale.at(last), middle + 2.2, SOFT, 0.3, "0.1 0.9")


def _behind(
    sheet: Sheet, plan: Plan, words: Wording, stages: tuple[PlanStage, ...], scale: _Scale, y: float, narrow: bool
) -> None:
    middle = y + (6.4 if narrow else ROW_MM / 2)
    title = words.say("steps.done_title")
    if narrow:
        sheet.words(EDGE_MM, y + 3.5, title, 8.5, tone=SOFT, halo=True)
    else:
        sheet.words(5.4, middle + 1.1, title, 9, tone=SOFT)
        sheet.line(0, y + ROW_MM, scale.right, y + ROW_MM, FAINT, 0.2)
    for stage in stages:
        if stage.date is not None:
            first, last = _span(plan, stage)
            wide = max(LEAST_BAR_MM, scale.at(last) - scale.at(first))
            sheet.bar(scale.at(first), middle - BAR_MM / 2, wide, BAR_MM, PALE, SOFT)


def _axis(
    sheet: Sheet, plan: Plan, words: Wording, protocol: Protocol, scale: _Scale, y: float, narrow: bool, wide: float
) -> float:
    """Draw ages, years and school years; return the lower edge."""
    sheet.line(scale.left, y, scale.right, y, INK, 0.4)
    every = 1 if scale.per_year > 4.2 else 2
    ages = [age for age in range(math.ceil(scale.first), math.floor(scale.last) + 1) if age % every == 0]
    if narrow:
        sheet.words(scale.left, y + 8, words.say("timeline.age_axis"), 7, tone=SOFT)
        sheet.words(scale.left, y + 17.2, words.say("timeline.school"), 7, tone=SOFT)
    else:
        sheet.words(5.4, y + 3.6, words.say("timeline.age_axis"), 8, tone=SOFT)
        sheet.words(5.4, y + 9.4, words.say("timeline.school"), 8, tone=SOFT)
    for age in ages:
        x = scale.at(age)
        sheet.line(x, y, x, y + 0.9, INK, 0.3)
        sheet.words(x, y + 4.1, str(age), 8.5, "middle", strong=True)
    top = y + (10.2 if narrow else 6.2)
    for number, first, last in _school_years(plan, protocol):
        left, right = scale.at(first), scale.at(last)
        if right - left < 0.6 * scale.per_year:
            continue
        sheet.bar(left + 0.2, top, right - left - 0.4, 4.4, FAINT if number % 2 else PALE)
        if number % every == 1 % every:
            sheet.words((left + right) / 2, top + 3.2, str(number), 7.5, "middle")
    return top + (8 if narrow else 5)


def _school_years(plan: Plan, protocol: Protocol) -> Iterator[tuple[int, float, float]]:
    """Yield each school year with the ages at which it starts and ends."""
    born = plan.child.date_of_birth
    from_years = protocol.number("school_from_years")
    start = born.year + math.ceil(from_years)
    from_day = born.replace(year=start, month=int(protocol.number("school_year_start_month")), day=1)
    if age_years(born, from_day) < from_years:
        from_day = from_day.replace(year=start + 1)
    for number in range(1, LAST_SCHOOL_YEAR + 1):
        first = from_day.replace(year=from_day.year + number - 1)
        yield number, age_years(born, first), age_years(born, first.replace(year=first.year + 1))


def _key(
    sheet: Sheet,
    plan: Plan,
    words: Wording,
    protocol: Protocol,
    y: float,
    narrow: bool,
    width: float,
    windows: bool,
) -> float:
    """Draw what the signs mean, wrapped to the width; return the lower edge of the drawing."""
    shown = [stage for stage in plan.stages if stage.date is not None and stage.status != "done"]
    lanes = {stage.lane for stage in shown}
    items: list[tuple[str, str]] = []
    if lanes - {CHECKS}:
        items.append(("operation", words.say("timeline.key_operation")))
    if any(role_of(stage.kind, protocol) == "lengthening" for stage in shown):
        items.append(("frame", words.say("timeline.key_frame")))
    if CHECKS in lanes:
        items.append(("check", words.say("timeline.key_check")))
    if finished(plan):
        items.append(("done", words.say("timeline.key_done")))
    if windows:
        items.append(("window", words.say("timeline.key_window")))
    x = left = EDGE_MM if narrow else 5.4
    for sign, text in items:
        need = 6.5 + text_width_mm(text, 8)
        if x > left and x + need > width:
            x, y = left, y + 5
        if sign == "check":
            sheet.disc(x + 1.4, y - 1, 1.25, PAPER, DEEP, 0.5)
        elif sign == "window":
            sheet.line(x, y - 1, x + 4.4, y - 1, SOFT, 0.3, "0.1 0.9")
        else:
            fill, edge = {"operation": (MIDDLE, DEEP), "frame": (DEEP, DEEP), "done": (PALE, SOFT)}[sign]
            sheet.bar(x, y - 2.4, 4.4, 2.8, fill, edge)
        sheet.words(x + 5.6, y, text, 8, tone=SOFT)
        x += need + 4
    return y + 2


def _alternative(plan: Plan, words: Wording, rows: tuple[Step, ...]) -> Iterator[str]:
    yield words.say("timeline.title") + "."
    for step in rows:
        name = name_of(step.kind, words, step.stages[0].label)
        whens = [
            words.say("steps.each", when=month_of(stage.date, words), age=age_of(stage.age_years or 0, words))
            for stage in step.stages
            if stage.date is not None
        ]
        yield f"{step.number}: {name}, {', '.join(whens)}."
    for stage in finished(plan):
        if stage.date is not None:
            name = name_of(stage.kind, words, stage.label)
            yield f"{words.say('steps.done')}: {name}, {month_of(stage.date, words)}."
    if not rows:
        yield words.say("timeline.empty")
