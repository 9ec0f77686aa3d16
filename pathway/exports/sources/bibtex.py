"""The cited sources as BibTeX: articles where the journal is known, else `misc`."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from pathway.exports.sources.parts import Author, Cited, citable
from pathway.protocol.base import Source

_SPECIAL = {
    "\\": r"\textbackslash{}",
    "{": r"\{",
    "}": r"\}",
    "~": r"\textasciitilde{}",
    "^": r"\textasciicircum{}",
    **{sign: f"\\{sign}" for sign in "#$%&_"},
}


def bibtex(sources: Iterable[Source]) -> str:
    """Return every citable source as an entry under its id, in the order of ids. Text is UTF-8."""
    return "\n".join(_entry(one) for one in citable(sources))


def _entry(one: Cited) -> str:
    fields = "".join(f"  {name} = {{{value}}},\n" for name, value in _fields(one) if value)
    return f"@{'article' if one.journal else 'misc'}{{{one.source.id},\n{fields}}}\n"


def _fields(one: Cited) -> Iterator[tuple[str, str]]:
    source = one.source
    names = [_name(author) for author in one.authors] + (["others"] if one.others else [])
    yield "author", " and ".join(names)
    yield "title", f"{{{_text(one.title)}}}"  # a second pair of braces keeps capitals as they are
    yield "journal", _text(one.journal)
    yield "year", "" if one.year is None else str(one.year)
    yield "volume", _text(one.volume)
    yield "number", _text(one.issue)
    yield "pages", re.sub(r"(?<=\d)-(?=\w)", "--", one.pages)
    yield "doi", _verbatim(source.doi)
    yield "pmid", source.pmid
    yield "url", _verbatim(source.address)
    yield "annote", _text(one.note)


def _name(author: Author) -> str:
    given = " ".join(f"{letter}." for letter in author.given if letter.isalpha())
    return ", ".join(part for part in (_text(author.family), given) if part)


def _text(words: str) -> str:
    return "".join(_SPECIAL.get(sign, sign) for sign in words)


def _verbatim(address: str) -> str:
    """Return an address or DOI, which styles take as it is; braces in it would end the field."""
    return address.replace("{", "%7B").replace("}", "%7D")
