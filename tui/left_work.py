"""What is typed or changed and not saved, as a text that reads back to the same. No screen, no file in here."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from pathway.events import diff, rebase
from pathway.record import Record
from tui.opened import ChildList, Entry

FORM = 1


@dataclass(frozen=True, slots=True)
class LeftEdits:
    """Edits of a child that were not saved: the record that they began from, and each in words with the record after.

    `saved` is the record as it was read or saved last; where edits were taken back since, it is not the first one.
    """

    saved: Record
    edits: tuple[tuple[str, Record], ...]


@dataclass(frozen=True, slots=True)
class LeftWork:
    """Everything that is not saved: forms typed in by child, a new child, edits by child."""

    drafts: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    newcomer: Mapping[str, str] = field(default_factory=dict)
    edits: Mapping[str, LeftEdits] = field(default_factory=dict)

    def __bool__(self) -> bool:
        """Return whether there is anything."""
        return bool(self.drafts or self.newcomer or self.edits)

    @property
    def sentence(self) -> str:
        """Return in one sentence what there is."""
        parts = [f"{name}: {_count(len(one.edits))}" for name, one in sorted(self.edits.items())]
        parts += [f"{name}: what was typed in its follow-up (v)" for name in sorted(self.drafts)]
        parts += ["a new child as typed (F7 on the list)"] if self.newcomer else []
        return f"Not saved when the page was closed, and here again: {'; '.join(parts)}."


def left_edits(entry: Entry) -> LeftEdits | None:
    """Return the edits of a child that are not saved, None where there are none."""
    session, kept = entry.session, entry.kept
    if session is None or kept is None or not entry.unsaved:
        return None
    since = next((at for at, one in enumerate(session.done) if one.before == kept), None)
    if since is None:
        return LeftEdits(kept, (("Undone what was saved before", session.record),))
    return LeftEdits(kept, tuple((one.sentence, one.after) for one in session.done[since:]))


def with_edits(child_list: ChildList, name: str, left: LeftEdits) -> ChildList:
    """Return the list with edits done again on a child that has been read; on top of what others saved meanwhile."""
    kept = child_list[name].kept
    if kept is None:
        return child_list
    if kept != left.saved:
        return _on_top(child_list, name, kept, left)
    before = left.saved
    for sentence, after in left.edits:
        child_list = child_list.edited(name, sentence, diff(before, after))
        before = after
    return child_list


def _on_top(child_list: ChildList, name: str, kept: Record, left: LeftEdits) -> ChildList:
    mine = rebase(diff(left.saved, left.edits[-1][1]), kept) if left.edits else ()
    if not mine:
        return child_list
    words = "; ".join(sentence for sentence, _ in left.edits)
    return child_list.edited(name, f"On top of what others saved meanwhile: {words}", mine)


def as_text(work: LeftWork) -> str:
    """Return it as a text that `of_text` reads, "" where there is nothing."""
    if not work:
        return ""
    edits = {
        name: {
            "saved": one.saved.model_dump(mode="json"),
            "edits": [{"sentence": words, "after": after.model_dump(mode="json")} for words, after in one.edits],
        }
        for name, one in work.edits.items()
    }
    drafts = {name: dict(typed) for name, typed in work.drafts.items()}
    return json.dumps({"form": FORM, "drafts": drafts, "newcomer": dict(work.newcomer), "edits": edits})


def of_text(text: str) -> LeftWork:
    """Return what `as_text` wrote; of any other text nothing."""
    try:
        data = json.loads(text)
        if data["form"] != FORM:
            return LeftWork()
        edits = {
            str(name): LeftEdits(
                Record.model_validate(one["saved"]),
                tuple((str(edit["sentence"]), Record.model_validate(edit["after"])) for edit in one["edits"]),
            )
            for name, one in data["edits"].items()
        }
        drafts = {str(name): _texts(typed) for name, typed in data["drafts"].items()}
        return LeftWork(drafts, _texts(data["newcomer"]), edits)
    except (ValueError, KeyError, TypeError, AttributeError):
        return LeftWork()


def work_of(entries: Iterable[Entry], drafts: Mapping[str, Mapping[str, str]], newcomer: Mapping[str, str]) -> LeftWork:
    """Return what is not saved of children, forms and a new child."""
    found = {entry.name: left_edits(entry) for entry in entries}
    edits = {name: one for name, one in found.items() if one is not None}
    return LeftWork({name: typed for name, typed in drafts.items() if typed}, newcomer, edits)


def _texts(data: Mapping[object, object]) -> dict[str, str]:
    return {str(name): str(text) for name, text in data.items()}


def _count(number: int) -> str:
    return "1 change" if number == 1 else f"{number} changes"
