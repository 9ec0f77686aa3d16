"""Rules as pages to read: the list of a kind, and one rule with its sources and what hangs on it."""

from __future__ import annotations

import difflib
import textwrap
from collections.abc import Iterator, Mapping
from typing import Any

from pathway.problems import refused
from pathway.protocol.model import Protocol
from pathway.protocol.references import entries, find, kinds, named_by, users
from pathway.protocol.traced import indirect_words
from pathway.views.rules.words import kind_words, origin_words, statement

UNWRAPPED = 2000
"""Letters that no line reaches: a screen wraps them itself."""


def all_kinds() -> tuple[str, ...]:
    """Return the kinds of entries, types of classifications included."""
    names: list[str] = []
    for kind in kinds():
        names += [kind, "types"] if kind == "classifications" else [kind]
    return tuple(names)


def list_text(protocol: Protocol, kind: str | None = None, width: int = 80) -> str:
    """Return the rules of one kind or all, by kind; raises Refused."""
    lines = _wrapped(f"{protocol.name} {protocol.version}: {protocol.changed}", width, "")
    for name in _chosen(kind):
        items = [entry for of, entry in entries(protocol) if of == name]
        if not items:
            continue
        lines += ["", f"{name.replace('_', ' ').capitalize()} ({len(items)})"]
        for entry in items:
            origin = origin_words(entry, protocol)
            lines.append(f"  {entry.id}")
            lines += _wrapped(statement(entry, protocol) + (f" [{origin}]" if origin else ""), width, "    ")
    lines += _switched_off(protocol, width)
    return "\n".join(lines) + "\n"


def list_data(protocol: Protocol, kind: str | None = None) -> dict[str, Any]:
    """Return the rules of one kind or all as plain data; raises Refused."""
    wanted = set(_chosen(kind))
    return {
        "protocol": {"name": protocol.name, "version": protocol.version, "changed": protocol.changed},
        "rules": [_data(protocol, of, entry) for of, entry in entries(protocol) if of in wanted],
        "switched_off": [item.model_dump() for item in protocol.switched_off],
    }


def page_text(protocol: Protocol, id: str, width: int = 80, named: Mapping[str, tuple[str, ...]] | None = None) -> str:
    """Return the page of one rule (of each entry of that id); raises Refused.

    `named` is what names what (`users`), where it is at hand: looking through all rules takes most of the time.
    """
    known = users(protocol) if named is None else named
    pages = ["\n".join(_page(protocol, kind, entry, width, known)) for kind, entry in _found(protocol, id)]
    return "\n\n".join(pages) + "\n"


def page_on_screen(protocol: Protocol, id: str, named: Mapping[str, tuple[str, ...]] | None = None) -> tuple[str, ...]:
    """Return the lines of `page_text`, unwrapped, as a screen tells them: rules in plain words instead of by their ids.

    Raises Refused.
    """
    known = users(protocol) if named is None else named
    pages = [tuple(_page(protocol, kind, entry, UNWRAPPED, known, plain=True)) for kind, entry in _found(protocol, id)]
    return tuple(line for place, page in enumerate(pages) for line in (*([""] if place else []), *page))


def page_data(protocol: Protocol, id: str) -> dict[str, Any]:
    """Return the page of one rule as plain data, with its citations and what uses it; raises Refused."""
    named = users(protocol)
    pages = []
    for kind, entry in _found(protocol, id):
        cited = [protocol.source(name).model_dump() for name in getattr(entry, "sources", ())]
        page = {**_data(protocol, kind, entry), "cited": cited, "used_by": list(named.get(entry.id, ()))}
        pages.append({**page, "names": sorted(named_by(entry))})
    return {"id": id, "entries": pages}


def _chosen(kind: str | None) -> tuple[str, ...]:
    if kind is None:
        return all_kinds()
    name = kind.strip().lower().replace(" ", "_").replace("-", "_")
    for known in all_kinds():
        if name in (known, kind_words(known).replace(" ", "_"), known.removesuffix("s")):
            return (known,)
    raise refused("", f"no kind {kind!r} among the rules", "", f"there are {', '.join(all_kinds())}")


def _found(protocol: Protocol, id: str) -> tuple[tuple[str, Any], ...]:
    found = find(protocol, id.strip())
    if not found:
        near = difflib.get_close_matches(id, [entry.id for _, entry in entries(protocol)], n=3)
        hint = f"similar ones are {', '.join(near)}; " if near else ""
        raise refused("", f"no rule {id!r}", "", f"{hint}`rules list` shows all")
    return found


def _data(protocol: Protocol, kind: str, entry: Any) -> dict[str, Any]:
    said = {"kind": kind, "id": entry.id, "statement": statement(entry, protocol)}
    return {**said, "fields": entry.model_dump(mode="json", by_alias=True, exclude_unset=True)}


def _page(
    protocol: Protocol,
    kind: str,
    entry: Any,
    width: int,
    named: Mapping[str, tuple[str, ...]],
    *,
    plain: bool = False,
) -> Iterator[str]:
    local = " (local)" if getattr(entry, "local", False) else ""
    what = kind_words(kind)
    yield f"{what[:1].upper()}{what[1:]}{local}" if plain else f"{entry.id}: {what}{local}"
    yield ""
    yield from _wrapped(statement(entry, protocol), width, "")
    if getattr(entry, "because", ""):
        yield from _wrapped(f"Why: {entry.because}", width, "")
    if origin := origin_words(entry, protocol):
        yield from _wrapped(f"Basis: {origin}", width, "")
    if indirect := indirect_words(entry):
        yield from _wrapped(indirect, width, "")
    if getattr(entry, "note", ""):
        yield from _wrapped(f"Note: {entry.note}", width, "")
    sources = [protocol.source(name) for name in getattr(entry, "sources", ())]
    if sources:
        yield ""
        yield "Sources"
    for source in sources:
        seen = f" Seen: {source.seen}." if source.seen else ""
        yield from _wrapped(
            f"{source.citation.rstrip('.')}. {source.found_at or source.no_address}".rstrip() + seen, width, "  "
        )
    refers, referred = sorted(named_by(entry) - set(getattr(entry, "sources", ()))), named.get(entry.id, ())
    if plain:
        refers, referred = _plainly(protocol, refers), tuple(_plainly(protocol, referred))
    yield from _names("Refers to", refers, width)
    yield from _names("Referred to by", referred, width)


def _plainly(protocol: Protocol, ids: Any) -> list[str]:
    """Return what entries are in plain words, each once, instead of their ids."""
    return list(dict.fromkeys(_words(protocol, kind, entry) for id in ids for kind, entry in find(protocol, id)))


def _words(protocol: Protocol, kind: str, entry: Any) -> str:
    label = getattr(entry, "label", "")
    told = label or (getattr(entry, "because", "") if kind == "values" else "") or statement(entry, protocol)
    return f"{kind_words(kind)}: {told.rstrip('.')}"


def _names(head: str, names: Any, width: int) -> Iterator[str]:
    if names:
        yield ""
        yield head
        for name in names:
            yield from _wrapped(name, width, "  ")


def _switched_off(protocol: Protocol, width: int) -> list[str]:
    if not protocol.switched_off:
        return []
    lines = ["", "Switched off locally"]
    for item in protocol.switched_off:
        lines += _wrapped(f"{item.id}: {item.because}", width, "  ")
    return lines


def _wrapped(text: str, width: int, indent: str) -> list[str]:
    return textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False)
