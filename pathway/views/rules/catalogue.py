"""The whole protocol as one Markdown document, made from the data: every rule by kind, with its sources."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pathway.protocol.model import Protocol
from pathway.protocol.references import entries
from pathway.views.rules.pages import all_kinds
from pathway.views.rules.words import origin_words, statement

MEMORY = "memory"


def catalogue(protocol: Protocol) -> str:
    """Return the catalogue as Markdown; the same data give the same text."""
    return "\n".join(_lines(protocol)) + "\n"


def _lines(protocol: Protocol) -> Iterator[str]:
    by_kind: dict[str, list[Any]] = {}
    for kind, entry in entries(protocol):
        by_kind.setdefault(kind, []).append(entry)
    yield f"# Catalogue of the rules: {protocol.name} {protocol.version}"
    yield ""
    yield "Made from the rule files; do not edit. Written anew by `python .ci/catalogue.py`."
    yield ""
    yield f"Last change: {protocol.changed}."
    yield ""
    yield "| kind | entries | from memory | own judgement |"
    yield "|---|---|---|---|"
    for kind in _order(by_kind):
        items = by_kind[kind]
        memory, own = (sum(getattr(e, "provenance", "") == p for e in items) for p in (MEMORY, "judgement"))
        yield f"| [{_title(kind)}](#{kind.replace('_', '-')}) | {len(items)} | {memory} | {own} |"
    for kind in _order(by_kind):
        yield ""
        yield f"## {_title(kind)}"
        yield ""
        for entry in by_kind[kind]:
            yield from _entry(entry, protocol)
    if protocol.switched_off:
        yield ""
        yield "## Switched off"
        yield ""
        for item in protocol.switched_off:
            yield f"- `{item.id}`: {item.because}"


def _order(by_kind: dict[str, list[Any]]) -> list[str]:
    """Rules first, what they rest on last."""
    last = ("tables", "sources")
    return [*(kind for kind in all_kinds() if kind in by_kind and kind not in last), *(k for k in last if k in by_kind)]


def _title(kind: str) -> str:
    return kind.replace("_", " ").capitalize()


def _entry(entry: Any, protocol: Protocol) -> Iterator[str]:
    text = f"- `{entry.id}`: {statement(entry, protocol)}"
    if because := getattr(entry, "because", ""):
        text += f" *{because}*"
    yield text
    origin = origin_words(entry)
    sources = getattr(entry, "sources", ())
    if sources:
        yield f"  - {origin}; sources: {', '.join(f'`{source}`' for source in sources)}"
    if note := getattr(entry, "note", ""):
        yield f"  - note: {note}"
