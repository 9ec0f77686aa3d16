"""What the screens say of the place that keeps the children, and how what others saved comes under one's own."""

from __future__ import annotations

import datetime
from collections.abc import Iterable

from pathway.children.kept_plans import AcceptedLast, KeptPlans
from pathway.children.storage import Listed, SaveFailed
from pathway.views.words.accepting import accepted_words
from pathway.views.words.children import Row, summary_row
from tui.opened import Entry

NOT_KEPT = (
    "Not saved: these are example children, and examples are not kept.",
    "To keep what you enter, open a case file of yours with `limb-pathway open FILE`, or import it into a registry "
    "with `limb-pathway registry import FILE` and open that with `limb-pathway --registry ADDRESS`.",
)
NOTHING_NEW = ("Everything is saved.",)
SAVING = ("Saving …",)
ACCEPT_LATER = ("Not accepted yet: the plan is still being made or saved. Press a again in a moment.",)
EXAMPLE = (
    "An example child: this is what accepting looks like; it is not kept. A registry keeps accepted plans.",
    NOT_KEPT[1],
)
IN_A_FILE = (
    "This child is a case file, which holds what was found, done and decided, and no plans. What you accept is kept "
    "there as a decision: this course, who chose it and why.",
    "To keep the whole plan with its dates as it was accepted, and what changes it later, keep the child in a "
    "registry: `limb-pathway registry import FILE`, then `limb-pathway --registry ADDRESS`.",
)


def listed_row(item: Listed, on: datetime.date) -> Row | None:
    """Return a child's line as its kept plan tells it; None where it has to be planned first."""
    if item.summary is None or "born" not in item.summary:
        return None
    return summary_row(item.name, item.summary, on, accepted=item.accepted, kept=True)


def accepted(last: AcceptedLast | None) -> str:
    """Return in words which plan was accepted last, "" where none was."""
    return "" if last is None else accepted_words(last.on, last.by, last.who, last.reason)


def standing(entry: Entry, plans: KeptPlans | None) -> str:
    """Return in a few words whether the plan was accepted, and whether anything was entered since."""
    if plans is None:
        return ""
    last = plans.accepted(entry.name)
    if last is None:
        return "not yet accepted (a)"
    return "accepted before (a)" if last.since or entry.unsaved else f"accepted {last.when}"


def overtaken(since: Iterable[str], place: str, *, accepting: bool = False) -> tuple[str, ...]:
    """Return what to say where others saved meanwhile."""
    if accepting:
        return (
            f"Not accepted: somebody else has saved in {place} in the meantime ({'; '.join(since)}). "
            "Their changes are included. Check the plan, then accept it again with a.",
        )
    # One paragraph: of what was told, the plan made next keeps the first.
    return (
        f"Not saved: somebody else has saved in {place} in the meantime ({'; '.join(since)}). "
        "Their changes are included, with yours on top. Check the plan, then save again with Ctrl+S.",
    )


def refused(error: SaveFailed, *, accepting: bool = False) -> tuple[str, ...]:
    """Return what to say where the place could not be written; nothing of the child is lost."""
    if accepting:
        return (f"Not accepted: {error}", "Nothing is lost; a tries again.")
    return (f"Not saved: {error}", "Your changes are still here; Ctrl+S tries again.")


def reason_of(entry: Entry) -> str:
    """Return in words what was changed since the last saving, or taken back: the reason of the revision."""
    if entry.session is None:
        return ""
    done, undone = entry.session.done, entry.session.undone
    for at, one in enumerate(undone):
        if one.after == entry.kept:
            return "; ".join(f"Undone: {edit.sentence}" for edit in undone[at:])
    since = next((at for at, one in enumerate(done) if one.before == entry.kept), 0)
    return "; ".join(one.sentence for one in done[since:])
