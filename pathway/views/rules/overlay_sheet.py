"""What a clinic's folder changes, as a sheet to review: each rule with ours, theirs, sources and reason."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from pathway.protocol.model import Protocol
from pathway.protocol.overlay import Difference
from pathway.views.rules.words import kind_words, origin_words, statement, value_of_field

ORDER = ("changed", "added", "switched off")
SAID_BELOW = ("sources", "provenance", "strength", "because")


def sheet_text(ours: Protocol, theirs: Protocol, found: Sequence[Difference], width: int = 80) -> str:
    """Return the review sheet as text of at most `width` columns."""
    return "\n".join(_lines(ours, theirs, found, width)) + "\n"


def sheet_data(ours: Protocol, theirs: Protocol, found: Iterable[Difference]) -> dict[str, Any]:
    """Return the review sheet as plain data."""
    return {
        "ours": {"name": ours.name, "version": ours.version},
        "theirs": {"name": theirs.name, "version": theirs.version},
        "differences": [
            {
                "what": item.what,
                "kind": item.kind,
                "id": item.id,
                "file": item.file,
                "because": item.because,
                "ours": None if item.ours is None else statement(item.ours, ours),
                "theirs": None if item.theirs is None else statement(item.theirs, theirs),
                "sources": list(getattr(item.theirs or item.ours, "sources", ())),
                "fields": [
                    {
                        "name": change.name,
                        "ours": None if item.ours is None else value_of_field(change.ours, ours),
                        "theirs": value_of_field(change.theirs, theirs),
                    }
                    for change in item.fields
                ],
            }
            for item in found
        ],
    }


def _lines(ours: Protocol, theirs: Protocol, found: Sequence[Difference], width: int) -> Iterator[str]:
    yield f"Review sheet: {theirs.name} {theirs.version}"
    yield f"laid over {ours.name} {ours.version}"
    counts = ", ".join(f"{sum(item.what == what for item in found)} {what}" for what in ORDER)
    yield f"{len(found)} {'rule' if len(found) == 1 else 'rules'}: {counts}"
    for what in ORDER:
        for item in found:
            if item.what == what:
                yield ""
                yield from _item(item, ours, theirs, width)
    yield ""
    yield "Reviewed by:                         on:"


def _item(item: Difference, ours: Protocol, theirs: Protocol, width: int) -> Iterator[str]:
    yield f"{item.what.upper()}  {item.id} ({kind_words(item.kind)}; {item.file})"
    if item.ours is not None:
        yield from _wrapped("ours", f"{statement(item.ours, ours)} [{origin_words(item.ours, ours)}]", width)
        yield from _wrapped("", _cited(item.ours, ours), width)
    if item.theirs is not None:
        yield from _wrapped("theirs", f"{statement(item.theirs, theirs)} [{origin_words(item.theirs, theirs)}]", width)
        yield from _wrapped("", _cited(item.theirs, theirs), width)
    for change in item.fields if item.ours is not None else ():
        if change.name not in SAID_BELOW:
            one, other = value_of_field(change.ours, ours), value_of_field(change.theirs, theirs)
            yield from _wrapped("field", f"{change.name.replace('_', ' ')}: {one} -> {other}", width)
    if item.because:
        yield from _wrapped("reason", item.because, width)


def _cited(entry: Any, protocol: Protocol) -> str:
    return "; ".join(protocol.source(name).citation for name in getattr(entry, "sources", ()))


def _wrapped(head: str, text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, initial_indent=f"  {head:<8}", subsequent_indent=" " * 10) if text else []
