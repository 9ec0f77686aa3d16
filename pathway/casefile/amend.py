"""A case file with what was entered since: added at its end where that is enough, so that the rest stays as written."""

from __future__ import annotations

from collections.abc import Iterable

from pathway.casefile.read import read_case
from pathway.casefile.write import case_text
from pathway.events import Event, apply, rebase
from pathway.protocol.model import Protocol
from pathway.record import Decision, Operation, Record, Visit, in_order


def amended(
    text: str, events: Iterable[Event], name: str, protocol: Protocol, as_written: str = ""
) -> tuple[str, bool]:
    """Return a case file with events, and whether all of `text` still stands in it, comments too.

    New visits, operations and decisions are added at the end, in the words of `as_written` where they say the same;
    where something known was changed or taken away the file is written anew. Raises ValueError where the record cannot
    be written (see `case_text`) or the file with it would be refused.
    """
    old = read_case(text, name, protocol)
    if not isinstance(old, Record):
        raise ValueError(" ".join(fault.sentence for fault in old))
    events = rebase(events, old)
    if not events:
        return text, True
    wanted = apply(old, events)
    for added in filter(None, (as_written, _tables(old, events))):
        longer = f"{text.rstrip()}\n\n{added}"
        again = read_case(longer, name, protocol)
        if isinstance(again, Record) and in_order(again) == in_order(wanted):
            return longer, True
    anew = case_text(wanted)
    found = read_case(anew, name, protocol)
    if not isinstance(found, Record):
        raise ValueError(" ".join(fault.sentence for fault in found))
    return anew, False


def _tables(old: Record, events: tuple[Event, ...]) -> str:
    """Return what was entered as tables of a case file, "" where something known was changed too."""
    new = tuple(event for event in events if isinstance(event, Visit | Operation | Decision))
    if len(new) < len(events) or not new:
        return ""
    bare = Record(child=old.child)
    return case_text(apply(bare, new))[len(case_text(bare)) :].lstrip("\n")
