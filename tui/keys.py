"""The keys of every screen, once: the footer, the help and the screens read them here."""

from __future__ import annotations

from textual.binding import Binding

HELP = Binding("f1,question_mark", "help", "Help", key_display="F1 ?")
BACK = Binding("escape", "back", "Back", key_display="Esc")
QUIT = Binding("ctrl+q", "quit", "Quit", key_display="^q", priority=True)

CHILDREN = (
    Binding("enter", "open", "Open", key_display="Enter", priority=True),
    Binding("up", "move(-1)", "Up", show=False),
    Binding("down", "move(1)", "Down", show=False),
    Binding("pageup", "move(-8)", "Eight up", show=False),
    Binding("pagedown", "move(8)", "Eight down", show=False),
    Binding("escape", "clear", "Clear search", key_display="Esc"),
)
ROAD = (
    Binding("left", "age(-1)", "Age", key_display="← →"),
    Binding("right", "age(1)", "Older", show=False),
    Binding("shift+left", "year(-1)", "A year younger", show=False),
    Binding("shift+right", "year(1)", "A year older", show=False),
    Binding("up,shift+tab", "stage(-1)", "Stage", key_display="↑ ↓"),
    Binding("down,tab", "stage(1)", "Next stage", show=False),
    Binding("b", "before", "Before this"),
    Binding("enter,d", "details", "Details", key_display="Enter"),
)
BEFORE = (
    Binding("up,left,shift+tab", "stage(-1)", "Stage", key_display="↑ ↓"),
    Binding("down,right,tab", "stage(1)", "Next stage", show=False),
    Binding("enter,d", "details", "Details", key_display="Enter"),
    Binding("pageup", "gates(-1)", "Read gates", key_display="PgUp PgDn"),
    Binding("pagedown", "gates(1)", "Gates down", show=False),
)
DETAILS = (
    Binding("up", "scroll(-1)", "Up", show=False),
    Binding("down", "scroll(1)", "Down", show=False),
    Binding("pageup", "page(-1)", "Read on", key_display="PgUp PgDn"),
    Binding("pagedown", "page(1)", "Page down", show=False),
    Binding("left,shift+tab", "stage(-1)", "Stage", key_display="← →"),
    Binding("right,tab", "stage(1)", "Next stage", show=False),
    Binding("b", "before", "Before this"),
)

HELP_WORDS: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    (
        "Everywhere",
        (
            ("Esc", "back to the screen before"),
            ("F1 or ?", "this help"),
            ("Ctrl+P", "all commands by name, colours too"),
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
        ),
    ),
    (
        "Road",
        (
            ("← →", "move the age; with Shift by a year"),
            ("↑ ↓ or Tab", "select a stage, in order of date"),
            ("Enter", "details of the stage"),
            ("b", "what comes before the stage"),
        ),
    ),
    ("Before this", (("↑ ↓ or Tab", "select a stage"), ("Enter", "details"), ("PgUp PgDn", "read the gates"))),
    (
        "Details",
        (("↑ ↓ PgUp PgDn", "read on"), ("← → or Tab", "stage before or after"), ("b", "what comes before the stage")),
    ),
)
