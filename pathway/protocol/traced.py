"""Where what a rule says was read, and how far that is from the child it is said of. Returns faults and words."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from pathway.protocol.base import Rule, Source, Sourced
from pathway.protocol.model import Protocol

_DOI, _PUBMED = re.compile(r"10\.\d{4,9}/[^\s\"<>]+"), re.compile(r"[1-9][0-9]{0,7}")


def faults_of_evidence(protocol: Protocol) -> Iterator[tuple[str, str, str]]:
    """Yield rule, what was found and what was expected: rows that are not there, indirectness that is not said."""
    rows = {row.id: row for row in protocol.evidence}
    for rule in protocol.rules():
        for name in rule.evidence:
            if name not in rows:
                yield rule.id, f"the evidence {name!r}", "the id of an [[evidence]]"
            elif not set(rows[name].sources) & set(rule.sources):
                yield rule.id, f"the evidence {name!r} of sources that the rule does not cite", "a row of its sources"
            elif rows[name].directness != "direct" and not rule.indirect:
                found = f"{rows[name].directness} evidence ({name}) and nothing on how indirect it is"
                yield rule.id, found, "`indirect` in words"


def faults_of_traces(protocol: Protocol) -> Iterator[tuple[str, str, str]]:
    """Yield what `rules check` asks beyond what a plan needs: that sources can be found and warnings be told."""
    for source in protocol.sources:
        yield from _faults_of_source(source)
    kinds = {source.id: source.kind for source in protocol.sources}
    for rule in protocol.rules():
        if rule.provenance == "read" and all(kinds.get(source) == "none" for source in rule.sources):
            yield rule.id, 'provenance "read" without a source that was read', "memory, practice or judgement"
    for limit in protocol.amount_limits:
        if limit.warns and not limit.family_words:
            yield limit.id, "a warning without words for a family", "`family_words`: what was seen, in plain words"


def _faults_of_source(source: Source) -> Iterator[tuple[str, str, str]]:
    if source.doi and not _DOI.fullmatch(source.doi):
        expected = "10., four to nine digits, a slash and the rest, such as 10.1000/182, without https://doi.org/"
        yield source.id, f"the DOI {source.doi!r} of the source {source.id}", expected
    if source.pmid and not _PUBMED.fullmatch(source.pmid):
        yield source.id, f"the PubMed number {source.pmid!r} of the source {source.id}", "up to eight digits"
    if len(source.address.split()) > 1:
        yield source.id, f"the address {source.address!r} of the source {source.id}", "one address without words"
    if not (source.found_at or source.no_address or source.never_seen):
        found = f"no way to find the source {source.id}"
        expected = '`address`, `doi` or `pmid`; or `seen = "not seen: ..."`, or `no_address` with the reason'
        yield source.id, found, expected


def resting_words(entry: Sourced, protocol: Protocol) -> str:
    """Return what weakens the origin of a statement that was read: only pages, or quoted by others; else ""."""
    if entry.provenance != "read":
        return ""
    kinds = {source.kind for source in _known(entry.sources, protocol)} - {"none"}
    if kinds == {"second_hand"}:
        return "quoted second hand"
    if kinds and kinds <= {"page", "second_hand"}:
        return "only on a page, no publication"
    return ""


def _known(ids: Iterable[str], protocol: Protocol) -> tuple[Source, ...]:
    wanted = set(ids)
    return tuple(source for source in protocol.sources if source.id in wanted)


def how_indirect(indirect: str) -> str:
    """Return how indirect evidence is, as every view says it, or ""."""
    return f"How indirect: {indirect.rstrip('.')}." if indirect else ""


def indirect_words(entry: object) -> str:
    """Return how indirect the evidence of a rule is, or ""; a published count says it in its own words."""
    return how_indirect(entry.indirect) if isinstance(entry, Rule) else ""
