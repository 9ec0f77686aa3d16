"""The keys of the screens and the marks that they use, in words: the help shows them, the verb `keys` prints them."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.views.pictures.curve import MEASURED
from pathway.views.pictures.picture import Role, stage_role
from pathway.views.words.paragraphs import Paragraph
from pathway.views.words.plan import STATUS_MARKS, STATUS_WORDS

KEY_WORDS: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    (
        "Everywhere",
        (
            ("Esc", "back to the previous screen"),
            ("F1 or ?", "this help"),
            ("F2 or w", "sources: the rule behind each statement, and where it was read"),
            ("Ctrl+Z, Ctrl+Y", "undo the last edit, do it again"),
            ("Ctrl+S", "save what was changed, with the plan, where the children are stored"),
            ("Ctrl+P", "all commands by name, including colours"),
            ("Ctrl+Q", "leave the program"),
            ("Mouse", "click a child, a stage or an age"),
        ),
    ),
    (
        "Children",
        (
            ("any letter", "searches names, diagnoses and next steps"),
            ("↑ ↓", "choose a child"),
            ("Enter", "open the timeline of the child"),
            ("Esc", "clear the search"),
            ("F4", "children of a registry by the date of what they need, or by name"),
        ),
    ),
    (
        "Timeline",
        (
            ("← →", "move the age; with Shift by a year"),
            ("↑ ↓ or Tab", "select a stage, in order of date"),
            ("+ - 0", "zoom in, zoom out, the whole timeline"),
            ("< >", "pan to younger or older ages"),
            ("PgUp PgDn", "scroll the text on age and stage"),
            ("Enter", "details of the stage"),
            ("b", "prerequisites of the stage"),
            ("c", "courses: all of them side by side"),
            ("s", "worksheet of the stage"),
            ("f", "the plan in plain words"),
            ("v", "visit: enter a follow-up and see what it changes"),
        ),
    ),
    (
        "Follow-up",
        (
            ("↑ ↓ or Enter", "select a field; type to fill it in"),
            ("Tab", "visit, operation done, decision"),
            ("F3", "find any other finding by part of its name"),
            ("F4", "the next choice of the field"),
            ("F5", "keep everything entered as one edit; Ctrl+Z takes it back"),
            ("F6", "clear; Ctrl+Z brings it back"),
            ("Esc", "leave; what was typed stays here for this child"),
        ),
    ),
    (
        "Prerequisites",
        (
            ("↑ ↓ or Tab", "select a stage"),
            ("u", "what would unlock the stage; again: its gates"),
            ("Enter", "details"),
            ("PgUp PgDn", "scroll"),
        ),
    ),
    (
        "Details",
        (("↑ ↓ PgUp PgDn", "scroll"), ("← → or Tab", "stage before or after"), ("b", "prerequisites of the stage")),
    ),
    (
        "Courses",
        (
            ("← → or Tab", "select a course"),
            ("o", "sort by what matters most; Shift+O back"),
            ("Enter or c", "choose the course, with a reason: it becomes the plan"),
            ("i", "what if: wishes tried out; F5 keeps them"),
        ),
    ),
    (
        "What if",
        (
            ("↑ ↓", "choose a wish; type its value, or clear the line"),
            ("F5", "keep the wishes, with a reason: the plan follows them"),
            ("F6", "clear all wishes; Ctrl+Z only the last one"),
            ("PgUp PgDn", "read the answer"),
        ),
    ),
    (
        "A decision",
        (("F3", "who decides: the family or the team"), ("Enter", "save it, once there is a reason")),
    ),
    (
        "Worksheet",
        (
            ("↑ ↓", "select an input; type to change it"),
            ("Tab", "the next stage that has a worksheet"),
            ("F3", "of an osteotomy of the upper femur: the page for the operating table"),
            ("F4", "the drawing in place of the numbers, where there is one; again: the numbers"),
            ("F5", "the axis of the whole leg, by points of the long film; again: the stage's sheet"),
            ("F6", "set all inputs back to the plan; Ctrl+Z only the last one"),
        ),
    ),
    ("For the table", (("↑ ↓ PgUp PgDn", "scroll"), ("← → or Tab", "numbers, steps, changes, drawings"))),
    ("Family view", (("↑ ↓ PgUp PgDn", "scroll"), ("c", "the other ways, side by side"))),
    ("Sources", (("↑ ↓", "choose a statement"), ("PgUp PgDn", "read the rule behind it"))),
)


def keys_and_marks() -> Iterator[Paragraph]:
    """Yield the keys and the marks."""
    for screen, lines in KEY_WORDS:
        yield Paragraph(screen, heading=True)
        for key, words in lines:
            yield Paragraph(f"{key:<16}{words}", depth=1)
        yield Paragraph("")
    yield Paragraph("Marks on the timeline", heading=True)
    for status, mark in STATUS_MARKS.items():
        yield Paragraph(f"{mark} {STATUS_WORDS[status]}", depth=1, role=stage_role(status))
    yield Paragraph(f"{MEASURED} leg difference as measured", depth=1, role=Role.MEASURED)
    yield Paragraph("├ · ┤ first and last day that the rules allow (an end outside the view is left out)", depth=1)
    yield Paragraph("┈ goal: legs of equal length within the goal band of the protocol", depth=1)
    yield Paragraph("Line: half of children like this one lie above it, half below. Bands: 50 and 90 of 100.", depth=1)
    yield Paragraph("")
    yield Paragraph("Marks of gates", heading=True)
    yield Paragraph("+ met, - not met, ? not known, ~ waived, > judged later", depth=1)
