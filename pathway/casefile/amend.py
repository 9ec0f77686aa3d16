"""A case file with what was entered since: added at its end where that is enough, so that the rest stays as written."""

from __future__ import annotations

from pathway.casefile.read import read_case
from pathway.casefile.write import case_text, in_order
from pathway.protocol.model import Protocol
from pathway.record import Record


def amended(text: str, wanted: Record, name: str, protocol: Protocol) -> tuple[str, bool]:
    """Return a case file that reads to `wanted`, and whether all of `text` still stands in it, comments too.

    New visits, operations and decisions are added at the end; where something known was changed or taken away the
    file is written anew. Raises ValueError where `wanted` cannot be written (see `case_text`) or the file with it would
    be refused.
    """
    old = read_case(text, name, protocol)
    if isinstance(old, Record):
        added = _added(old, wanted)
        longer = f"{text.rstrip()}\n\n{added}" if added else text
        again = read_case(longer, name, protocol)
        if isinstance(again, Record) and in_order(again) == in_order(wanted):
            return longer, True
    anew = case_text(wanted)
    found = read_case(anew, name, protocol)
    if not isinstance(found, Record):
        raise ValueError(" ".join(fault.sentence for fault in found))
    return anew, False


def _added(old: Record, wanted: Record) -> str:
    """Return the visits, operations and decisions that only `wanted` has, as tables of a case file."""
    days = {visit.date for visit in old.visits}
    new = Record(
        child=wanted.child,
        visits=tuple(visit for visit in wanted.visits if visit.date not in days),
        operations=tuple(one for one in wanted.operations if one not in old.operations),
        decisions=tuple(one for one in wanted.decisions if one not in old.decisions),
    )
    bare, whole = case_text(Record(child=wanted.child)), case_text(new)
    return whole[len(bare) :].lstrip("\n")
