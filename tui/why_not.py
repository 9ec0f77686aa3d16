"""Why a key or command does nothing now, in a sentence: what is missing, and what to do. No screen in here."""

from __future__ import annotations

from collections.abc import Mapping

from tui.opened import Entry

REASONS: Mapping[str, str] = {
    "undo": "Nothing to undo: nothing was changed here.",
    "redo": "Nothing to do again: nothing was undone, or something was changed since.",
    "save": "Nothing to save: nothing was changed since it was read or saved.",
    "sources": "No sources: this screen says nothing yet that rests on a rule.",
    "clear": "Nothing to clear: nothing is typed.",
    "clear_all": "Nothing to clear: nothing is typed.",
    "keep": "Nothing to keep: nothing is typed yet.",
    "option": "No choices here: this field is typed freely. F1 says what is expected.",
    "theatre": "The page for the operating table is made of the sheet of an osteotomy of the upper femur; "
    "Tab opens the next stage that has a worksheet.",
    "draw": "No drawing here: this worksheet has none.",
    "page": "Nothing to scroll: all of it is shown.",
    "scroll": "Nothing to scroll: all of it is shown.",
    "past": "Nothing to open: nothing was done before today.",
    "sort": "Example children and case files are listed by name; a registry also lists by date.",
    "jump": "No fields to go to.",
    "told": "No message: nothing is told of the last edit now.",
    "compare": "Nothing to compare: only one step is known.",
}
"""By action, where nothing more is known."""
NO_CHILD = "Choose a child first: Enter opens the one that is marked."
NOT_YET = "Not yet: the plan is still being made."
NO_PLAN = "There is no plan of this child; its timeline says why."
NO_STAGE = "The plan has no stages, so there is none to open."
NOT_HERE = "Not on this screen: {words} belongs to {where}. Esc leads back."


def reason(action: str) -> str:
    """Return why an action cannot be done, "" where nothing is known of it."""
    return REASONS.get(action, "")


def without_plan(entry: Entry) -> str:
    """Return why there is no plan of a child."""
    return NOT_YET if entry.waiting else NO_PLAN
