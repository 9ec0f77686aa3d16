"""The keys of every screen, once: the footer, the help and the screens read them here."""

from __future__ import annotations

import re
from collections.abc import Iterable

from textual.binding import Binding

HELP = Binding("f1,question_mark", "help", "Help", key_display="F1 ?")
BACK = Binding("escape", "back", "Back", key_display="Esc")
WHY = Binding("f2,w", "sources", "Sources", key_display="F2", tooltip="The rule behind each statement")
UNDO = Binding("ctrl+z", "undo", "Undo", key_display="^z", tooltip="Undo the last edit")
REDO = Binding("ctrl+y", "redo", "Redo", key_display="^y", show=False, tooltip="Do what was undone again")
SAVE = Binding("ctrl+s", "save", "Save", key_display="^s", tooltip="Save what was changed, where the child is kept")
CLEAR_ALL = Binding(
    "shift+f6,f18", "clear_all", "Clear all", key_display="Shift+F6", show=False, tooltip="Clear every field"
)
JUMP = Binding("f7", "jump", "Go to field", key_display="F7", priority=True)
QUIT = Binding("ctrl+q", "quit", "Quit", key_display="^q", priority=True)

PAPERS = "Summary, handout, calendar, sheets and record as files"
EXPORT = Binding("x,f8", "export", "Export", key_display="x", tooltip=PAPERS)
EXPORT_WHERE_ONE_TYPES = Binding("f8", "export", "Export", key_display="F8", tooltip=PAPERS)

CHILDREN = (
    Binding("enter", "open", "Open", key_display="Enter", priority=True),
    Binding("up", "move(-1)", "Up", show=False),
    Binding("down", "move(1)", "Down", show=False),
    Binding("pageup", "move(-8)", "Eight up", show=False),
    Binding("pagedown", "move(8)", "Eight down", show=False),
    Binding("escape", "clear", "Clear search", key_display="Esc"),
    Binding("f3", "due", "What is due", key_display="F3"),
    Binding("f4", "sort", "Order", key_display="F4"),
    Binding("f6", "results", "Own results", key_display="F6", show=False, tooltip="What plans said, and what came"),
    Binding("f7", "new", "New child", key_display="F7", tooltip="Enter a child that is not on the list"),
)
PAGE = (
    Binding("up", "scroll(-1)", "Up", show=False),
    Binding("down", "scroll(1)", "Down", show=False),
    Binding("pageup", "page(-1)", "Scroll", key_display="PgUp PgDn"),
    Binding("pagedown,space", "page(1)", "Page down", show=False),
    Binding("home", "end(-1)", "To the start", show=False),
    Binding("end", "end(1)", "To the end", show=False),
)
"""The keys of a screen that is one page of text."""
HELP_PAGE = (
    *PAGE,
    Binding("m", "manual", "Manual", tooltip="The pages of the manual"),
)
MANUAL = (
    Binding("up", "choice(-1)", "Topic", key_display="↑ ↓"),
    Binding("down", "choice(1)", "Next topic", show=False),
    Binding("pageup", "page(-1)", "Read the page", key_display="PgUp PgDn"),
    Binding("pagedown,space", "page(1)", "Page down", show=False),
)
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
    Binding("g", "curve", "Curve"),
    Binding("p", "past", "Past"),
    Binding("less_than_sign,comma", "pan(-1)", "Pan younger", show=False),
    Binding("greater_than_sign,full_stop", "pan(1)", "Pan older", show=False),
    Binding("pageup", "page(-1)", "Scroll", key_display="PgUp PgDn", show=False),
    Binding("pagedown", "page(1)", "Page down", show=False),
    Binding("m", "told", "Message", show=False),
    Binding("enter,d", "details", "Details", key_display="Enter", tooltip="Grounds, gates, limits of the stage"),
    Binding("b", "prerequisites", "Prerequisites", tooltip="What comes before the selected stage"),
    Binding("c", "courses", "Courses", tooltip="All courses side by side"),
    Binding("s", "worksheet", "Sheet", tooltip="The worksheet: the numbers of the selected operation"),
    Binding("f", "family", "Family", tooltip="The plan in plain words"),
    Binding("v", "follow_up", "Visit", tooltip="Follow-up: enter a visit, an operation, a decision"),
    Binding("a", "accept", "Accept", tooltip="Accept the plan: who, why, what changed since the last time"),
    Binding("h", "history", "History", tooltip="What was entered and accepted, two steps compared"),
    Binding("n", "due", "Due", show=False, tooltip="What this child needs by when"),
    Binding("i", "what_if", "What if", show=False, tooltip="Wishes tried out before they are kept"),
    EXPORT,
)
ABOUT_CHILD = (*(one for one in TIMELINE if one.tooltip), UNDO, REDO, SAVE)
"""What opens something of the child, or does something with it: the palette has it on every screen of a child."""
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
    Binding("a", "accept", "Accept"),
    Binding("pageup", "page(-1)", "Scroll", key_display="PgUp PgDn", show=False),
    Binding("pagedown", "page(1)", "Page down", show=False),
)
WHAT_IF = (
    Binding("up", "field(-1)", "Wish", key_display="↑ ↓"),
    Binding("down", "field(1)", "Next wish", show=False),
    Binding("f4,f9", "option", "Next choice", key_display="F4"),
    Binding("f5", "keep", "Keep as wishes", key_display="F5"),
    Binding("f6", "clear", "Clear field", key_display="F6"),
    CLEAR_ALL,
    Binding("pageup", "page(-1)", "Scroll", key_display="PgUp PgDn", priority=True),
    Binding("pagedown", "page(1)", "Page down", show=False, priority=True),
)
WORKSHEET = (
    Binding("up", "field(-1)", "Input", key_display="↑ ↓"),
    Binding("down", "field(1)", "Next input", show=False),
    Binding("shift+tab", "stage(-1)", "Stage", key_display="Tab", show=False),
    Binding("tab", "stage(1)", "Stage", key_display="Tab", priority=True),
    Binding("f3", "theatre", "For the table", key_display="F3"),
    Binding("f4", "draw", "Drawing", key_display="F4"),
    Binding("f5", "axis", "Leg axis", key_display="F5"),
    Binding("f9", "option", "Next choice", key_display="F9"),
    Binding("f6", "clear", "As planned", key_display="F6"),
    CLEAR_ALL,
    EXPORT_WHERE_ONE_TYPES,
    Binding("pageup", "page(-1)", "Scroll", key_display="PgUp PgDn", priority=True),
    Binding("pagedown", "page(1)", "Page down", show=False, priority=True),
)
THEATRE = (
    *PAGE,
    Binding("left,shift+tab", "part(-1)", "Part", key_display="← →"),
    Binding("right,tab", "part(1)", "Next part", show=False),
    EXPORT,
)
FOLLOW_UP = (
    Binding("up", "field(-1)", "Field", key_display="↑ ↓"),
    Binding("down", "field(1)", "Next field", show=False),
    Binding("shift+tab", "part(-1)", "Part before", show=False, priority=True),
    Binding("tab", "part(1)", "Part", key_display="Tab", priority=True),
    Binding("f3", "find", "Find", key_display="F3"),
    Binding("f4,f9", "option", "Next choice", key_display="F4"),
    Binding("f5", "keep", "Keep", key_display="F5"),
    Binding("f6", "clear", "Clear field", key_display="F6"),
    CLEAR_ALL,
    Binding("pageup", "page(-1)", "Scroll", key_display="PgUp PgDn"),
    Binding("pagedown", "page(1)", "Page down", show=False),
)
FAMILY = (
    *PAGE,
    Binding("c", "courses", "Other ways"),
    EXPORT,
)
SOURCES = (
    Binding("up", "choice(-1)", "Statement", key_display="↑ ↓"),
    Binding("down", "choice(1)", "Next statement", show=False),
    Binding("pageup", "page(-1)", "Read the rule", key_display="PgUp PgDn"),
    Binding("pagedown", "page(1)", "Page down", show=False),
)
LEAVE = (
    Binding("ctrl+s", "save", "Save and leave", key_display="^s"),
    Binding("ctrl+q", "app.quit", "Leave without saving", key_display="^q", priority=True),
)
ACCEPT = (
    Binding("enter", "accept_it", "Accept and keep", key_display="Enter", priority=True),
    Binding("f3", "who", "Team or family", key_display="F3"),
    Binding("up", "scroll(-1)", "Up", show=False),
    Binding("down", "scroll(1)", "Down", show=False),
    Binding("pageup", "page(-1)", "Scroll", key_display="PgUp PgDn", priority=True),
    Binding("pagedown", "page(1)", "Page down", show=False, priority=True),
)
HISTORY = (
    Binding("up", "moment(-1)", "Step", key_display="↑ ↓"),
    Binding("down", "moment(1)", "Step before", show=False),
    Binding("enter", "compare", "Compare", key_display="Enter"),
    Binding("m,space", "mark", "Compare with this one", key_display="m"),
    Binding("pageup", "page(-1)", "Scroll", key_display="PgUp PgDn"),
    Binding("pagedown", "page(1)", "Page down", show=False),
)
JUMPING = (
    Binding("enter", "go", "Go there", key_display="Enter", priority=True),
    Binding("up", "choice(-1)", "Field", key_display="↑ ↓", priority=True),
    Binding("down", "choice(1)", "Next field", show=False, priority=True),
)
REASON = (
    Binding("enter", "save", "Keep", key_display="Enter", priority=True),
    Binding("f3", "who", "Family or team", key_display="F3"),
)
EXPORTING = (
    Binding("up", "field(-1)", "Paper", key_display="↑ ↓", priority=True),
    Binding("down", "field(1)", "Next paper", show=False, priority=True),
    Binding("enter", "write", "Write", key_display="Enter", priority=True),
    Binding("f4", "option", "Other form", key_display="F4"),
    Binding("f6", "clear", "As proposed", key_display="F6"),
    CLEAR_ALL,
    Binding("pageup", "page(-1)", "Scroll", key_display="PgUp PgDn", priority=True),
    Binding("pagedown", "page(1)", "Page down", show=False, priority=True),
)
NEW_CHILD = (
    Binding("up", "field(-1)", "Field", key_display="↑ ↓"),
    Binding("down", "field(1)", "Next field", show=False),
    Binding("f4", "option", "Next choice", key_display="F4"),
    Binding("f5", "keep", "Save and open", key_display="F5"),
    Binding("f6", "clear", "Clear field", key_display="F6"),
    CLEAR_ALL,
    Binding("pageup", "page(-1)", "Scroll", key_display="PgUp PgDn", priority=True),
    Binding("pagedown", "page(1)", "Page down", show=False, priority=True),
)


def of(binding: Binding) -> tuple[str, ...]:
    """Return the keys of a binding one by one."""
    return tuple(key.strip() for key in binding.key.split(","))


def bindings(table: Iterable[Binding]) -> dict[str, Binding]:
    """Return what each key of a table does."""
    return {key: one for one in table for key in of(one)}


FUNCTION_KEY = re.compile(r"f\d+")


def elsewhere(key: str) -> str:
    """Return what a key does on the screens that have it, in a sentence, or that it does nothing here."""
    shown = key.upper() if FUNCTION_KEY.fullmatch(key) else key
    found = {name: bindings(table)[key] for name, table in TABLES.items() if key in bindings(table)}
    if not found:
        return f"Nothing is on {shown} here. F1 lists the keys of this screen."
    does = " or ".join(dict.fromkeys(one.description for one in found.values()))
    return f"Not on this screen: {shown} ({does}) belongs to {', '.join(found)}. F1 lists the keys of this one."


TABLES = {
    "Timeline": TIMELINE,
    "Prerequisites": PREREQUISITES,
    "Details": DETAILS,
    "Courses": COURSES,
    "Family view": FAMILY,
    "History": HISTORY,
}
"""The screens with letters for keys, by the name that the help has for them."""
