"""The whole protocol as one Markdown document, made from the data: every rule by kind, with its sources."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pathway.protocol.model import Protocol
from pathway.protocol.references import entries
from pathway.protocol.traced import indirect_words
from pathway.questions.rule_sway import ranked, uncounted
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
    yield from _to_set_first(protocol)
    if protocol.switched_off:
        yield ""
        yield "## Switched off"
        yield ""
        for item in protocol.switched_off:
            yield f"- `{item.id}`: {item.because}"


def _to_set_first(protocol: Protocol) -> Iterator[str]:
    """Yield what rests on judgement or memory by the plans that hang on it: what a clinician should look at first."""
    listed = ranked(protocol)
    if not listed:
        return
    changing = [item for item in listed if item[1]]
    yield ""
    yield "## For clinicians: set or check these first"
    yield ""
    yield (
        "Rules that rest on our own judgement or on memory, by how many "
        "invented children get another plan (other stages, another order, an age by more than a month, "
        "an amount by 5 mm or more) when the rule is left out, or its number is moved to its ends (a fifth less or "
        "more where it has none). Counted by `python .ci/what_rules_change.py`."
    )
    yield ""
    for rule, plans, of in changing:
        text = f"{statement(rule, protocol)} [{origin_words(rule, protocol)}]"
        yield f"- {plans} of {of}: `{rule.id}`: {text}"
    rest = ", ".join(f"`{rule.id}`" for rule, plans, _ in listed if not plans)
    if rest:
        yield ""
        yield f"No plan changed: {rest}."
    left = ", ".join(f"`{id}`" for id in uncounted(protocol))
    if left:
        yield ""
        yield f"Not counted: {left}."


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
    origin = origin_words(entry, protocol)
    sources = getattr(entry, "sources", ())
    if sources:
        yield f"  - {origin}; sources: {', '.join(f'`{source}`' for source in sources)}"
    if indirect := indirect_words(entry):
        yield f"  - {indirect}"
    if note := getattr(entry, "note", ""):
        yield f"  - note: {note}"
