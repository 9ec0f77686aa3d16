"""What a citation shows apart: authors, title, journal, volume, pages. What it does not show stays unsaid."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from pathway.protocol.base import Source

_SURNAME = r"(?:(?:de|van|von|der|den|la|le|di|da|del) )*[A-ZÀ-Ž][\w'’-]+(?: [A-ZÀ-Ž][\w'’-]+)?"
_AUTHOR = re.compile(rf"(?P<family>{_SURNAME}) (?P<given>[A-ZÀ-Ž](?:-?[A-ZÀ-Ž]){{0,3}})")
_FAMILY = re.compile(r"(?P<family>[A-ZÀ-Ž][\w'’-]+)(?P<given>)")
"""With "et al." a name may stand without initials."""
_REMARK = re.compile(r"\s*\([^()]*\)\s*$")
_ISSUE_LAST = re.compile(r";[\w-]*\([^()]*\)$")
_FOUND_BY = re.compile(r",? (?:doi |PMID )?(?:10\.\d{4,9}/|(?<=PMID )\d|PMC\d)[^ ,;()]*$")
_PLACE = re.compile(r", (?:tables|background|pages [\w-]+)$")
_JOURNAL = re.compile(
    r"(?:(?P<title>.+?[.?!]) )?(?P<journal>[A-Z][\w'&-]*(?: [\w'&-]+){0,9}) (?P<year>(?:19|20)\d\d)"
    r"(?:;(?P<volume>\d+(?:-[A-Z])?)?(?:\((?P<issue>[^()]+)\))?(?: Suppl (?P<suppl>\w+))?"
    r"(?::(?P<pages>[A-Za-z]?\d+(?:-[A-Za-z]?\d+)?))?)?"
)
_JOURNAL_ALONE = re.compile(r"(?P<title>.+?[.?!]) (?P<journal>J Pediatr Orthop(?: B)?|J Bone Joint Surg (?:Am|Br))")


@dataclass(frozen=True, slots=True)
class Author:
    """One author as print gives the name: family name and initials."""

    family: str
    given: str = ""


@dataclass(frozen=True, slots=True)
class Cited:
    """A source in its parts; "" and () for what its citation does not show. `others`: more authors than are named."""

    source: Source
    title: str
    year: int | None = None
    authors: tuple[Author, ...] = ()
    others: bool = False
    journal: str = ""
    volume: str = ""
    issue: str = ""
    pages: str = ""

    @property
    def note(self) -> str:
        """Return the citation as the rules have it, and what of it was read: nothing is lost by taking it apart."""
        seen = f" Seen: {self.source.seen}" if self.source.seen else ""
        return f"Cited as: {self.source.citation}.{seen}"


def citable(sources: Iterable[Source]) -> Iterator[Cited]:
    """Yield what is a source of print or a page, by its id; practice, memory and judgement are no publications."""
    for source in sorted(sources, key=lambda one: one.id):
        if source.kind != "none":
            yield parts(source)


def parts(source: Source) -> Cited:
    """Return a source in its parts. What is not clearly authors or a journal stays in the title."""
    if source.kind != "publication":
        return Cited(source, source.citation, source.year)
    names, others, rest = _authors(_bare(source.citation))
    found = _JOURNAL.fullmatch(rest)
    if found is None or (source.year is not None and int(found["year"]) != source.year):
        alone = _JOURNAL_ALONE.fullmatch(rest)
        title, journal = (alone["title"], alone["journal"]) if alone else (rest, "")
        return Cited(source, _title(title, source), source.year, names, others, journal)
    return Cited(
        source,
        _title(found["title"] or "", source),
        int(found["year"]),
        names,
        others,
        found["journal"],
        found["volume"] or "",
        found["issue"] or (f"Suppl {found['suppl']}" if found["suppl"] else ""),
        found["pages"] or "",
    )


def _bare(citation: str) -> str:
    """Return a citation without remarks at its end, and without DOI and PubMed number: they have their fields."""
    text, before = citation.strip(), ""
    while text != before:
        before = text
        text = _PLACE.sub("", _FOUND_BY.sub("", text).strip(" ,;"))
        # An issue stands in brackets too: "Children 2021;8(6)".
        if not _ISSUE_LAST.search(text):
            text = _REMARK.sub("", text)
    return text or citation


def _authors(text: str) -> tuple[tuple[Author, ...], bool, str]:
    """Return the authors at the beginning, whether there are more, and the rest; none where it begins otherwise."""
    head, _, rest = text.partition(". ")
    names = _REMARK.sub("", head)
    others = names.endswith(" et al")
    names = names.removesuffix(" et al")
    found = [
        _AUTHOR.fullmatch(one) or (_FAMILY.fullmatch(one) if others else None)
        for one in (name.strip() for name in names.split(","))
    ]
    if not rest or not all(found):
        return (), False, text
    return tuple(Author(one["family"], one["given"]) for one in found if one), others, rest


def _title(words: str, source: Source) -> str:
    """Return a title without its full stop and a remark such as "(title shortened)"; without one the whole citation."""
    title = _REMARK.sub("", words.strip().removesuffix(".")).strip()
    return source.citation if not title or re.match(r"(?:19|20)\d\d\b", title) else title
