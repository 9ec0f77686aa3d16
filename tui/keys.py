"""The keys of every screen, once: the footer, the help and the screens read them here."""

from __future__ import annotations

from textual.binding import Binding

HELP = Binding("f1,question_mark", "help", "Help", key_display="F1 ?")
BACK = Binding("escape", "back", "Back", key_display="Esc")
WHY = Binding("f2,w", "why", "Why", key_display="F2")
UNDO = Binding("ctrl+z", "undo", "Undo", key_display="^z")
REDO = Binding("ctrl+y", "redo", "Redo", key_display="^y", show=False)
SAVE = Binding("ctrl+s", "save", "Save", key_display="^s")
QUIT = Binding("ctrl+q", "quit", "Quit", key_display="^q", priority=True)

CHILDREN = (
    Binding("enter", "open", "Open", key_display="Enter", priority=True),
    Binding("up", "move(-1)", "Up", show=False),
    Binding("down", "move(1)", "Down", show=False),
    Binding("pageup", "move(-8)", "Eight up", show=False),
    Binding("pagedown", "move(8)", "Eight down", show=False),
    Binding("escape", "clear", "Clear search", key_display="Esc"),
    Binding("f4", "sort", "By date or name", key_display="F4"),
)
ROAD = (
    Binding("left", "age(-1)", "Age", key_display="←→"),
    Binding("right", "age(1)", "Older", show=False),
    Binding("shift+left", "year(-1)", "A year younger", show=False),
    Binding("shift+right", "year(1)", "A year older", show=False),
    Binding("up,shift+tab", "stage(-1)", "Stage", key_display="↑↓"),
    Binding("down,tab", "stage(1)", "Next stage", show=False),
    Binding("plus,equals_sign", "zoom(1)", "Zoom", key_display="+ -"),
    Binding("minus", "zoom(-1)", "Zoom out", show=False),
    Binding("0", "whole", "Whole road", show=False),
    Binding("less_than_sign,comma", "pan(-1)", "Pan younger", show=False),
    Binding("greater_than_sign,full_stop", "pan(1)", "Pan older", show=False),
    Binding("pageup", "page(-1)", "Scroll", key_display="PgUp PgDn", show=False),
    Binding("pagedown", "page(1)", "Page down", show=False),
    Binding("enter,d", "details", "Details", key_display="Enter"),
    Binding("b", "before", "Before"),
    Binding("c", "courses", "Courses"),
    Binding("s", "worksheet", "Sheet"),
    Binding("f", "family", "Family"),
    Binding("v", "follow_up", "Visit"),
)
BEFORE = (
    Binding("up,left,shift+tab", "stage(-1)", "Stage", key_display="↑ ↓"),
    Binding("down,right,tab", "stage(1)", "Next stage", show=False),
    Binding("u", "unlock", "Unlock"),
    Binding("enter,d", "details", "Details", key_display="Enter"),
    Binding("s", "worksheet", "Sheet"),
    Binding("pageup", "gates(-1)", "Scroll", key_display="PgUp PgDn"),
    Binding("pagedown", "gates(1)", "Gates down", show=False),
)
DETAILS = (
    Binding("up", "scroll(-1)", "Up", show=False),
    Binding("down", "scroll(1)", "Down", show=False),
    Binding("pageup", "page(-1)", "Scroll", key_display="PgUp PgDn"),
    Binding("pagedown", "page(1)", "Page down", show=False),
    Binding("left,shift+tab", "stage(-1)", "Stage", key_display="← →"),
    Binding("right,tab", "stage(1)", "Next stage", show=False),
    Binding("b", "before", "Before"),
    Binding("s", "worksheet", "Sheet"),
)
COURSES = (
    Binding("left,up,shift+tab", "course(-1)", "Course", key_display="← →"),
    Binding("right,down,tab", "course(1)", "Next course", show=False),
    Binding("o", "order(1)", "Sort"),
    Binding("O", "order(-1)", "Sort back", show=False),
    Binding("enter,c", "choose", "Choose", key_display="Enter"),
    Binding("i", "what_if", "What if"),
    Binding("pageup", "page(-1)", "Scroll", key_display="PgUp PgDn", show=False),
    Binding("pagedown", "page(1)", "Page down", show=False),
)
WHAT_IF = (
    Binding("up", "field(-1)", "Wish", key_display="↑ ↓", priority=True),
    Binding("down", "field(1)", "Next wish", show=False, priority=True),
    Binding("f5", "keep", "Keep as wishes", key_display="F5"),
    Binding("f6", "clear", "Clear", key_display="F6"),
    Binding("pageup", "page(-1)", "Scroll", key_display="PgUp PgDn", priority=True),
    Binding("pagedown", "page(1)", "Page down", show=False, priority=True),
)
WORKSHEET = (
    Binding("up", "field(-1)", "Input", key_display="↑ ↓", priority=True),
    Binding("down", "field(1)", "Next input", show=False, priority=True),
    Binding("shift+tab", "stage(-1)", "Stage", key_display="Tab", show=False),
    Binding("tab", "stage(1)", "Stage", key_display="Tab", priority=True),
    Binding("f4", "draw", "Drawing", key_display="F4"),
    Binding("f6", "clear", "As planned", key_display="F6"),
    Binding("pageup", "page(-1)", "Scroll", key_display="PgUp PgDn", priority=True),
    Binding("pagedown", "page(1)", "Page down", show=False, priority=True),
)
FOLLOW_UP = (
    Binding("up", "field(-1)", "Field", key_display="↑ ↓"),
    Binding("down", "field(1)", "Next field", show=False),
    Binding("shift+tab", "part(-1)", "Part before", show=False, priority=True),
    Binding("tab", "part(1)", "Part", key_display="Tab", priority=True),
    Binding("f3", "find", "Find", key_display="F3"),
    Binding("f4", "option", "Next choice", key_display="F4"),
    Binding("f5", "keep", "Keep", key_display="F5"),
    Binding("f6", "clear", "Clear", key_display="F6"),
    Binding("pageup", "page(-1)", "Scroll", key_display="PgUp PgDn"),
    Binding("pagedown", "page(1)", "Page down", show=False),
)
FAMILY = (
    Binding("up", "scroll(-1)", "Up", show=False),
    Binding("down", "scroll(1)", "Down", show=False),
    Binding("pageup", "page(-1)", "Scroll", key_display="PgUp PgDn"),
    Binding("pagedown,space", "page(1)", "Page down", show=False),
    Binding("c", "courses", "Other ways"),
)
WHY_KEYS = (
    Binding("up", "statement(-1)", "Statement", key_display="↑ ↓"),
    Binding("down", "statement(1)", "Next statement", show=False),
    Binding("pageup", "page(-1)", "Read the rule", key_display="PgUp PgDn"),
    Binding("pagedown", "page(1)", "Page down", show=False),
)
LEAVE = (
    Binding("ctrl+s", "save", "Save and leave", key_display="^s"),
    Binding("ctrl+q", "app.quit", "Leave without saving", key_display="^q", priority=True),
)
REASON = (
    Binding("enter", "save", "Keep", key_display="Enter", priority=True),
    Binding("f3", "who", "Family or team", key_display="F3"),
)

HELP_WORDS: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    (
        "Everywhere",
        (
            ("Esc", "back to the previous screen"),
            ("F1 or ?", "this help"),
            ("F2 or w", "why: the rule and the sources behind each statement"),
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
            ("Enter", "open the road of the child"),
            ("Esc", "clear the search"),
            ("F4", "children of a registry by the date of what they need, or by name"),
        ),
    ),
    (
        "Road",
        (
            ("← →", "move the age; with Shift by a year"),
            ("↑ ↓ or Tab", "select a stage, in order of date"),
            ("+ - 0", "zoom in, zoom out, the whole road"),
            ("< >", "pan to younger or older ages"),
            ("PgUp PgDn", "scroll the text on age and stage"),
            ("Enter", "details of the stage"),
            ("b", "what comes before the stage"),
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
        "Before this",
        (
            ("↑ ↓ or Tab", "select a stage"),
            ("u", "what would unlock the stage; again: its gates"),
            ("Enter", "details"),
            ("PgUp PgDn", "scroll"),
        ),
    ),
    (
        "Details",
        (("↑ ↓ PgUp PgDn", "scroll"), ("← → or Tab", "stage before or after"), ("b", "what comes before the stage")),
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
            ("F4", "the drawing in place of the numbers, where there is one; again: the numbers"),
            ("F6", "set all inputs back to the plan; Ctrl+Z only the last one"),
        ),
    ),
    ("Family view", (("↑ ↓ PgUp PgDn", "scroll"), ("c", "the other ways, side by side"))),
    ("Why and sources", (("↑ ↓", "choose a statement"), ("PgUp PgDn", "read the rule behind it"))),
)
