"""The courses compared, and the answer to a what-if question, as printed text."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from pathway.days import age_words
from pathway.plan.model import Course, CourseStage, Plan
from pathway.preferences import PROSTHETIC_COURSE
from pathway.questions.sensitivity import Robustness
from pathway.questions.what_if import Answer
from pathway.views.pictures.course_cards import facts
from pathway.views.words import roads
from pathway.views.words.caution import caution
from pathway.views.words.plan import cm_words, local_lines, residual_words, usual_words
from pathway.views.words.wrapping import wrap

WIDE = 100
LEAST_ROOM = 16
"""Columns for the name of a course beside its numbers, at least."""
WORLDS = (
    "Operations, months, school years, height and what is left: if every step works. Chances: what usually happens, "
    "complications at published rates, every amount decided again at the visits to come. Weights: 1 is a planned "
    "operation. No published count shows that several smaller lengthenings are safer than one large one."
)
SAID_ABOVE = ("Leg at maturity", "90 of 100, cm", "Within 1 cm, about", "Within 2 cm, about")


def courses_text(answer: Answer, width: int = 80, *, plain: bool = False, firm: Robustness | None = None) -> str:
    """Return the comparison as text of at most `width` columns; `plain` uses no symbols beyond letters.

    With `firm` it ends with what would bring another recommendation.
    """
    return "\n".join((*_lines(answer, width, plain), *_firm_lines(firm, width))) + "\n"


def _firm_lines(firm: Robustness | None, width: int) -> Iterator[str]:
    if firm is None:
        return
    yield ""
    yield "How robust this is: single changes that would lead to another plan, most likely first"
    if firm.stands is not None:
        yield from wrap(
            f"The same course stays first in about {100 * firm.stands:.0f} of 100 ways this child may grow.",
            width,
            "  ",
        )
    for turn in firm.turns:
        yield from wrap(turn.sentence, width, "  ", "    ")
    if not firm.turns:
        yield "  No single change found with a chance above 1 in 100."


def _lines(answer: Answer, width: int, plain: bool) -> Iterator[str]:
    plan = answer.wished
    yield f"Courses for {plan.child.id} on {plan.on}"
    yield from wrap(caution(plan), width)
    yield from local_lines(plan, width)
    if answer.asked:
        yield ""
        yield from wrap(f"What if: {'; '.join(answer.asked)}.", width, "", "  ")
        for sentence in answer.differences:
            yield from wrap(sentence, width, "  ", "    ")
    if plan.roads is not None:
        yield ""
        yield from wrap(plan.roads.sentence, width)
    if not plan.alternatives:
        yield ""
        yield from wrap(_no_course(plan), width)
        return
    yield ""
    yield from _table(plan, width, plain)
    yield ""
    labels = {stage.kind: stage.label.rstrip("0123456789 ") for stage in plan.stages}
    for course in plan.alternatives:
        yield from _course(plan, course, labels, width, plain)


def _no_course(plan: Plan) -> str:
    if plan.child.affected_side == "both":
        return f"No course is planned for length. {plan.growth.basis}"
    return "No course can be planned."


def _table(plan: Plan, width: int, plain: bool) -> Iterator[str]:
    """Yield one row a course: operations, months with a device, months over 2.5 cm, what is left, chances.

    Where the terminal has no room beside the numbers, the name of a course stands above them.
    """
    wide = width >= WIDE
    heads = ("", "course", "oper-", "device", "over", "school", "height", "left at", "within", "of 100")
    under = ("", "", "ations", "months", "2.5 cm", "years", "lost", "maturity", "1 cm", "2 cm")
    room = width - (62 if wide else 57) - 3
    above = room < LEAST_ROOM
    widths = (2, 0 if above else room, 6, 6, 6, 6, 6, 8, 6, 6)
    for row in (heads, under):
        yield _row((row[0], "", *row[2:]) if above else row, widths)
    for course in plan.alternatives:
        lines = _cells(course, width - 4 if above else room, plain)
        if above:
            first = next(lines)
            yield from (f"{mark:<2}{name}" for mark, name, *_ in (first, *lines))
            yield _row(("", "", *first[2:]), widths)
            continue
        for line in lines:
            yield _row(line, widths)
    mark = "1" if plain else "▶"
    better = "*: no other course has both less burden and a better chance"
    meant = next((roads.first_words(plan, one) for one in plan.alternatives if one.recommended), "first")
    yield from wrap(f"{mark}: {meant}; {better}; height and maturity in cm, + still short.", width, "  ")
    yield from wrap(WORLDS, width, "  ")


def _row(cells: tuple[str, ...], widths: tuple[int, ...]) -> str:
    left = f"{cells[0]:<{widths[0]}}{cells[1]:<{widths[1]}}"
    return (left + "".join(f"{cell:>{size + 1}}" for cell, size in zip(cells[2:], widths[2:], strict=True))).rstrip()


def _cells(course: Course, room: int, plain: bool) -> Iterator[tuple[str, ...]]:
    names = wrap(course.summary, room - 1)
    mark = ("1" if plain else "▶") if course.recommended else "*" if course.not_beaten else ""
    burden = course.burden
    numbers: tuple[str, ...]
    if course.residual_mm is None:
        numbers = (str(burden.operations), "", "", "", "", "", "", "")
    else:
        numbers = (
            str(burden.operations),
            f"{burden.device_months:.0f}",
            f"{burden.months_over_25_mm:.0f}",
            str(burden.school_years_touched),
            f"{burden.adult_height_lost_mm / 10:.1f}",
            f"{course.median_residual_mm / 10 + 0.0:+.1f}",
            _chance(course.chance_within_10_mm),
            _chance(course.chance_within_20_mm),
        )
    yield (mark, names[0], *numbers)
    for name in names[1:]:
        yield ("", f"  {name}", *("" for _ in numbers))


def _chance(chance: float | None) -> str:
    return "" if chance is None else f"{100 * chance:.0f}"


def _course(plan: Plan, course: Course, labels: Mapping[str, str], width: int, plain: bool) -> Iterator[str]:
    first = roads.first_words(plan, course)
    mark = "▶ " if first and not plain else ""
    yield from wrap(f"{mark}{f'{first}: ' if first else ''}{course.summary}", width, "", "  ")
    for stage in course.stages:
        yield from wrap(_stage(stage, labels), width, "    ", "      ")
    told = [(label.strip(), words) for label, words in facts(plan, course) if label.strip() not in SAID_ABOVE]
    counted = "; ".join(f"{label[0].lower()}{label[1:]} {words}" for label, words in told)
    if course.residual_mm is not None:
        counted = f"If every step works: {residual_words(course.median_residual_mm)}; {counted}."
    yield from wrap(counted, width, "    ", "      ")
    if usual := usual_words(course):
        yield from wrap(usual, width, "    ", "      ")
    if course.lost_because:
        yield from wrap(f"Not first: {course.lost_because}", width, "    ", "      ")
    if course.id == PROSTHETIC_COURSE:
        for step in roads.prosthetic_stages(plan):
            yield from wrap(f"{step.label}: {roads.usual_words(plan, step)}", width, "    ", "      ")


def _stage(stage: CourseStage, labels: Mapping[str, str]) -> str:
    what = labels.get(stage.kind, stage.kind.replace("_", " "))
    what = what[0].lower() + what[1:]
    plates = f" by {' and '.join(p.replace('_', ' ') for p in stage.physes)}" if stage.physes else ""
    amount = f" {cm_words(stage.amount_mm)}" if stage.amount_mm is not None else ""
    return f"at {age_words(stage.age_years)}: {what}{amount}{plates}"
