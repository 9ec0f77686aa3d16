"""The one line that stands on everything: what the program is, who decides, and whether the child is invented."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathway.plan.model import Plan

CAUTION = "Planning aid, not a medical device; the surgeon decides; follow local protocol"
"""As short as the narrowest screen; what shows a plan says it in the words of its protocol, see `caution`."""
INVENTED = "Invented child: no real patient."
ALL_INVENTED = "Invented children: no real patients."
SOME_INVENTED = "Some of these are invented children."
READ_INVENTED = "Those read so far are invented children."


def is_invented(note: str) -> bool:
    """Return whether the note of a case file says that the child is invented; the note itself never leaves."""
    return note.lower().startswith("invented")


def caution(plan: Plan) -> str:
    """Return the standing caution of a plan, and that its child is invented where it is."""
    return with_invented(plan.cautions[0].text, INVENTED if is_invented(plan.child.note) else "")


def of_children(notes: Iterable[str | None]) -> str:
    """Return what to say of several children by the notes of their case files: whether they are invented, or "".

    Of one that is not read yet the note is None: nothing is said of it.
    """
    asked = list(notes)
    found = [is_invented(note) for note in asked if note is not None]
    if not any(found):
        return ""
    if not all(found):
        return SOME_INVENTED
    if len(found) < len(asked):
        return READ_INVENTED
    return INVENTED if len(found) == 1 else ALL_INVENTED


def with_invented(caution: str, invented: str) -> str:
    """Return a caution with what is said of invented children behind it."""
    return f"{caution} {invented}".rstrip()
