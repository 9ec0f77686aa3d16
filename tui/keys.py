"""The keys of every screen, once: the footer, the help and the screens read them here."""

from __future__ import annotations

from textual.binding import Binding

HELP = Binding("f1,question_mark", "help", "Help", key_display="F1 ?")
BACK = Binding("escape", "back", "Back", key_display="Esc")
WHY = Binding("f2,w", "sources", "Sources", key_display="F2")
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
PAGE = (
    Binding("up", "scroll(-1)", "Up", show=False),
    Binding("down", "scroll(1)", "Down", show=False),
    Binding("pageup", "page(-1)", "Scroll", key_display="PgUp PgDn"),
    Binding("pagedown,space", "page(1)", "Page down", show=False),
)
"""The keys of a screen that is one page of text."""
TIMELINE = (
    Binding("left", "age(-1)", "Age", key_display="←→"),
    Binding("right", "age(1)", "Older", show=False),
    Binding("shift+left", "year(-1)", "A year younger", show=False),
    Binding("shift+right", "year(1)", "A year older", show=False),
    Binding("up,shift+tab", "stage(-1)", "Stage", key_display="↑↓"),
    Binding("down,tab", "stage(1)", "Next stage", show=False),
    Binding("plus,equals_sign", "zoom(1)", "Zoom", key_display="+ -"),
    Binding("minus", "zoom(-1)", "Zoom out", show=False),
    Binding("0", "whole", "Whole timeline", show=False),
    Binding("less_than_sign,comma", "pan(-1)", "Pan younger", show=False),
    Binding("greater_than_sign,full_stop", "pan(1)", "Pan older", show=False),
    Binding("pageup", "page(-1)", "Scroll", key_display="PgUp PgDn", show=False),
    Binding("pagedown", "page(1)", "Page down", show=False),
    Binding("enter,d", "details", "Details", key_display="Enter"),
    Binding("b", "prerequisites", "Prerequisites"),
    Binding("c", "courses", "Courses"),
    Binding("s", "worksheet", "Sheet"),
    Binding("f", "family", "Family"),
    Binding("v", "follow_up", "Visit"),
)
PREREQUISITES = (
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
    Binding("b", "prerequisites", "Prerequisites"),
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
    Binding("f3", "theatre", "For the table", key_display="F3"),
    Binding("f4", "draw", "Drawing", key_display="F4"),
    Binding("f5", "axis", "Leg axis", key_display="F5"),
    Binding("f6", "clear", "As planned", key_display="F6"),
    Binding("pageup", "page(-1)", "Scroll", key_display="PgUp PgDn", priority=True),
    Binding("pagedown", "page(1)", "Page down", show=False, priority=True),
)
THEATRE = (
    *PAGE,
    Binding("left,shift+tab", "part(-1)", "Part", key_display="← →"),
    Binding("right,tab", "part(1)", "Next part", show=False),
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
    *PAGE,
    Binding("c", "courses", "Other ways"),
)
SOURCES = (
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
