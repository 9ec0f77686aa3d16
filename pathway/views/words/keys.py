"""The keys of the screens and the marks that they use, in words: the help shows them, the verb `keys` prints them."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.views.pictures.curve import MEASURED
from pathway.views.pictures.picture import Role, stage_role
from pathway.views.words.paragraphs import Paragraph
from pathway.views.words.plan import STATUS_MARKS, STATUS_WORDS

MANUAL = Paragraph("What to do, what numbers mean, every verb: m opens the manual; limb-pathway manual prints it.")
"""What the keys do not say stands there."""
KEY_WORDS: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    (
        "Everywhere",
        (
            ("Esc", "back to the previous screen"),
            ("F1 or ?", "this help; in a form, of the field that is typed in first"),
            ("F2 or w", "sources: the rule behind each statement, and where it was read"),
            ("Ctrl+Z, Ctrl+Y", "undo the last edit, do it again; in a form what was typed into the field changed last"),
            ("Ctrl+S", "save what was changed, with the plan, where the children are stored"),
            ("Ctrl+P", "all commands by name, including colours"),
            ("Ctrl+Q", "leave the program"),
            ("Mouse", "click a child, a stage or an age"),
        ),
    ),
    (
        "Children",
        (
            ("any letter", "searches all that the list says of a child"),
            ("↑ ↓", "choose a child"),
            ("Enter", "open the timeline of the child"),
            ("Esc", "clear the search"),
            ("F3", "what is due in the months to come, item by item; again: the children"),
            ("F4", "order: urgency, next stage, last day, what is due, name; so does a click on a head"),
            ("F6", "own results: what the accepted plans of all children said, and what came"),
            ("F7", "a new child; on an empty list also n or Enter"),
        ),
    ),
    (
        "New child",
        (
            ("↑ ↓ or Enter", "select a field; type to fill it in"),
            ("F4", "the next choice of the field"),
            ("F5", "save the child where the others are stored, and open it"),
            ("F6", "clear the field; again at once, or Shift+F6: all fields. Ctrl+Z brings back what was cleared"),
            ("Esc", "leave; what was typed stays here"),
        ),
    ),
    (
        "Timeline",
        (
            ("← →", "move the age; with Shift by a year"),
            ("↑ ↓ or Tab", "select a stage, in order of date"),
            ("+ - 0", "zoom in, zoom out, the whole timeline"),
            ("< >", "pan to younger or older ages"),
            ("g", "the curve in place of the lanes; on a large screen the lanes alone"),
            ("p", "what is done: open it, fold it away"),
            ("PgUp PgDn", "scroll the text on age and stage, or the lanes where they stand alone"),
            ("m", "all that is told of the last edit; once read, or another screen was opened, it leaves the timeline"),
            ("Enter", "details of the stage"),
            ("b", "prerequisites of the stage"),
            ("c", "courses: all of them side by side"),
            ("s", "worksheet of the stage"),
            ("f", "the plan in plain words"),
            ("v", "visit: enter a follow-up and see what it changes"),
            ("a", "accept the plan: who, why, what changed since the last time"),
            ("h", "history: what was entered and accepted; two steps compared"),
            ("n", "due: what this child needs by when"),
            ("i", "what if: wishes tried out"),
            ("x", "export: summary, handout, calendar, sheets and record as files; also from sheet, table and family"),
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
            ("F6", "clear the field; again at once, or Shift+F6: all fields. Ctrl+Z brings back what was cleared"),
            ("F7", "go to a field by letters of its name"),
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
            ("a", "accept the plan as it stands"),
        ),
    ),
    (
        "What if",
        (
            ("↑ ↓", "choose a wish; type its value, or clear the line"),
            ("F5", "keep the wishes, with a reason: the plan follows them"),
            ("F6", "clear the wish; again at once, or Shift+F6: all wishes. Ctrl+Z brings back what was cleared"),
            ("F7", "go to a wish by letters of its name"),
            ("PgUp PgDn", "read the answer"),
        ),
    ),
    (
        "Accept",
        (
            ("F3", "who accepts: the team or the family; the next time it is who accepted last"),
            ("Enter", "accept the plan and keep it, with the reason and all that is not saved"),
            ("↑ ↓ PgUp PgDn", "read what is accepted"),
        ),
    ),
    (
        "History",
        (
            ("↑ ↓", "choose a step, the newest first; ✓ a plan that was accepted"),
            ("Enter", "what changed between it and the plan as it stands (or the step marked); again: the step"),
            ("m", "compare others with this step instead"),
            ("PgUp PgDn", "scroll what is said"),
        ),
    ),
    (
        "Help and manual",
        (
            ("↑ ↓ PgUp PgDn Home End", "scroll the help"),
            ("m", "from the help: the pages of the manual"),
            ("↑ ↓", "in the manual: the page before or after"),
            ("PgUp PgDn", "in the manual: read the page"),
        ),
    ),
    ("Due", (("↑ ↓ PgUp PgDn", "scroll"),)),
    ("Own results", (("↑ ↓ PgUp PgDn", "scroll"),)),
    ("Go to a field", (("any letter", "searches the fields"), ("↑ ↓ Enter", "choose a field and go there"))),
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
            (
                "F6",
                "set the input back to the plan; again at once, or Shift+F6: all. Ctrl+Z undoes it",
            ),
            ("F7", "go to an input by letters of its name"),
            ("F8", "export: the sheet as it stands, and the other papers of the child"),
        ),
    ),
    (
        "Export",
        (
            ("↑ ↓", "choose a paper; type another file name, or the folder"),
            ("Enter", "write the paper; an earlier one is replaced when you press it again"),
            ("F4", "the same paper in another form (PDF, page of the web), another language"),
            ("F6", "the name as proposed; again at once, or Shift+F6: all. Ctrl+Z brings back what was typed"),
        ),
    ),
    ("For the table", (("↑ ↓ PgUp PgDn", "scroll"), ("← → or Tab", "numbers, steps, changes, drawings"))),
    ("Family view", (("↑ ↓ PgUp PgDn", "scroll"), ("c", "the other ways, side by side"))),
    ("Sources", (("↑ ↓", "choose a statement"), ("PgUp PgDn", "read the rule behind it"))),
)


def keys_and_marks(first: str = "") -> Iterator[Paragraph]:
    """Yield the keys and the marks, those of the screen named first before all others."""
    for screen, lines in sorted(KEY_WORDS, key=lambda one: one[0] != first):
        yield Paragraph(screen, heading=True)
        for key, words in lines:
            yield Paragraph(f"{key:<16}{words}", depth=1)
        yield Paragraph("")
    yield Paragraph("Marks on the timeline", heading=True)
    for status, mark in STATUS_MARKS.items():
        yield Paragraph(f"{mark} {STATUS_WORDS[status]}", depth=1, role=stage_role(status))
    yield Paragraph(f"{MEASURED} leg difference as measured", depth=1, role=Role.MEASURED)
    yield Paragraph("░ days that the rules allow", depth=1)
    yield Paragraph("┃ last of these days, where there is one", depth=1, role=Role.LAST_DAY)
    yield Paragraph("◂ ▸ before or after the ages that are shown", depth=1)
    yield Paragraph("† of the lengthening road, which is drawn and not chosen", depth=1)
    yield Paragraph("┈ goal: legs of equal length within the goal band of the protocol", depth=1)
    yield Paragraph("Line: half of children like this one lie above it, half below. Bands: 50 and 90 of 100.", depth=1)
    yield Paragraph("")
    yield Paragraph("Marks of gates", heading=True)
    yield Paragraph("+ met, - not met, ? not known, ~ waived, > judged later", depth=1)
