"""The courses compared, and the answer to a what-if question, as printed text."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from pathway.days import age_words
from pathway.plan.model import Course, CourseStage, Plan
from pathway.preferences import PROSTHETIC_COURSE
from pathway.protocol.words import lower_first
from pathway.questions.sensitivity import Robustness
from pathway.questions.what_if import Answer
from pathway.views.pictures.course_cards import facts
from pathway.views.words import firmness, roads
from pathway.views.words.carried_out import of_chosen
from pathway.views.words.caution import caution
from pathway.views.words.expected import WORLD, cells, printed_lines, programme_words
from pathway.views.words.plan import cm_words, local_lines, path_words, usual_words
from pathway.views.words.wrapping import wrap

WIDE, ROOM = 90, 24
"""From so many columns on the name of a course has room beside its numbers."""
LEAST_ROOM = 16
"""Columns for the name of a course beside its numbers, at least."""
WORLDS = (
    f"{WORLD} Weights: 1 is a planned operation. No published count shows that several smaller lengthenings are safer "
    "than one large one."
)
COLUMNS: tuple[tuple[str, str, int, str], ...] = (
    ("opera-", "tions", 10, "operations"),
    ("un-", "planned", 9, "unplanned"),
    ("device", "months", 10, "device_months"),
    ("differ", "by cm", 6, "peak_cm"),
    ("over", "5 cm", 5, "over_5_cm"),
    ("height", "lost", 6, "height_cm"),
    ("leg at", "maturity", 12, "left_cm"),
    ("within", "1 cm", 6, "within_1_cm"),
    ("of 100", "2 cm", 6, "within_2_cm"),
    ("lasting", "harm", 12, "harm"),
)
"""Two lines of a head, the width, and the number shown: all of what usually happens."""
LEFT_OUT_FIRST = ("peak_cm", "unplanned", "over_5_cm", "height_cm", "harm")
"""What a narrow terminal leaves out of the table, in this order: the lines below say all."""


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
    for said in (*of_chosen(plan), firmness.sentence(plan)):
        if said:
            yield ""
            yield from wrap(said.removeprefix(f"{firmness.MARK} ") if plain else said, width)
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
    if plan.printed_results:
        yield ""
        yield "What print counts of whole courses, beside ours"
        for line in printed_lines(plan):
            yield from wrap(line, width, "  ", "    ")


def _no_course(plan: Plan) -> str:
    if plan.child.affected_side == "both":
        return f"No course is planned for length. {plan.growth.basis}"
    return "No course can be planned."


def _table(plan: Plan, width: int, plain: bool) -> Iterator[str]:
    """Yield one row a course, all of what usually happens; what the path takes stands below, by itself.

    Where the terminal has no room beside the numbers, the name of a course stands above them.
    """
    columns = list(COLUMNS)
    for name in LEFT_OUT_FIRST:
        name_beside = ROOM if width >= WIDE else 0
        if name_beside + 3 + sum(size + 1 for *_, size, _ in columns) > width:
            columns = [column for column in columns if column[-1] != name]
    room = width - 3 - sum(size + 1 for *_, size, _ in columns)
    above = room < LEAST_ROOM
    widths = (2, 0 if above else room, *(size for *_, size, _ in columns))
    for name, heads in (("course", [one for one, *_ in columns]), ("", [two for _, two, *_ in columns])):
        yield _row(("", "" if above else name, *heads), widths)
    for course in plan.alternatives:
        shown = cells(course)._asdict()
        mark = ("1" if plain else "▶") if course.recommended else "*" if course.not_beaten else ""
        numbers = tuple(shown[name] for *_, name in columns)
        names = wrap(course.summary, width - 4 if above else room - 1)
        if above:
            yield from (f"{mark if not at else '':<2}{'  ' if at else ''}{name}" for at, name in enumerate(names))
            yield _row(("", "", *numbers), widths)
            continue
        yield _row((mark, names[0], *numbers), widths)
        for name in names[1:]:
            yield _row(("", f"  {name}", *("" for _ in numbers)), widths)
    mark = "1" if plain else "▶"
    better = "*: no other course has both less burden and a better chance"
    meant = next((roads.first_words(plan, one) for one in plan.alternatives if one.recommended), "first")
    yield from wrap(f"{mark}: {meant}; {better}; lengths in cm, months over 5 cm.", width, "  ")
    yield from wrap(WORLDS, width, "  ")


def _row(cells: tuple[str, ...], widths: tuple[int, ...]) -> str:
    left = f"{cells[0]:<{widths[0]}}{cells[1]:<{widths[1]}}"
    return (left + "".join(f"{cell:>{size + 1}}" for cell, size in zip(cells[2:], widths[2:], strict=True))).rstrip()


def _course(plan: Plan, course: Course, labels: Mapping[str, str], width: int, plain: bool) -> Iterator[str]:
    first = roads.first_words(plan, course)
    mark = "▶ " if first and not plain else ""
    yield from wrap(f"{mark}{f'{first}: ' if first else ''}{course.summary}", width, "", "  ")
    for stage in course.stages:
        yield from wrap(_stage(stage, labels), width, "    ", "      ")
    if path := path_words(course):
        yield from wrap(path, width, "    ", "      ")
    if course.id == PROSTHETIC_COURSE:
        counted = "; ".join(f"{lower_first(label)} {words}" for label, words in facts(plan, course))
        yield from wrap(counted, width, "    ", "      ")
    if usual := usual_words(course):
        yield from wrap(usual, width, "    ", "      ")
    if course.lost_because:
        yield from wrap(f"Not first: {course.lost_because}", width, "    ", "      ")
    for said in programme_words(course):
        yield from wrap(said, width, "    ", "      ")
    if course.id == PROSTHETIC_COURSE:
        for step in roads.prosthetic_stages(plan):
            yield from wrap(f"{step.label}: {roads.usual_words(plan, step)}", width, "    ", "      ")


def _stage(stage: CourseStage, labels: Mapping[str, str]) -> str:
    what = labels.get(stage.kind, stage.kind.replace("_", " "))
    what = lower_first(what)
    plates = f" by {' and '.join(p.replace('_', ' ') for p in stage.physes)}" if stage.physes else ""
    amount = f" {cm_words(stage.amount_mm)}" if stage.amount_mm is not None else ""
    return f"at {age_words(stage.age_years)}: {what}{amount}{plates}"
