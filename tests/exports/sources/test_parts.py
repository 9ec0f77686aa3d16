"""A citation in its parts: what it shows apart is taken apart, what it does not show is not made up."""

from __future__ import annotations

import re

import pytest

from pathway.exports.sources.parts import Author, Cited, citable, parts
from pathway.protocol.base import Source
from pathway.protocol.load import load_protocol
from tests.offenders import for_each

SHIPPED = list(citable(load_protocol().sources))


def cited(citation: str, **more: object) -> Cited:
    return parts(Source.model_validate({"id": "a", "citation": citation, **more}))


def test_a_whole_citation_is_taken_apart() -> None:
    found = cited("Moe AB, de Roe C. A title. With two sentences. J Pediatr Orthop B 2004;13(2):81-87")
    assert found.authors == (Author("Moe", "AB"), Author("de Roe", "C"))
    assert (found.title, found.journal) == ("A title. With two sentences", "J Pediatr Orthop B")
    assert (found.year, found.volume, found.issue, found.pages) == (2004, "13", "2", "81-87")
    assert not found.others


@pytest.mark.parametrize(
    ("citation", "title", "journal"),
    [
        ("Moe AB. A title (title shortened). Clin Orthop 2008 (30 limbs; year from memory)", "A title", "Clin Orthop"),
        ("Moe AB. A title: how much? Children 2021;8(6), doi 10.1000/1", "A title: how much?", "Children"),
        ("Moe AB. A title. Skeletal Radiol 2007, 10.1000/s1-2", "A title", "Skeletal Radiol"),
        ("Moe AB. A title. World J Orthop 2021;12:909-919, tables", "A title", "World J Orthop"),
        ("Moe AB. A title. J Pediatr Orthop", "A title", "J Pediatr Orthop"),
        ("Moe AB. A title. Thesis in Lund, unpublished", "A title. Thesis in Lund, unpublished", ""),
    ],
)
def test_remarks_and_numbers_are_no_part_of_title_and_journal(citation: str, title: str, journal: str) -> None:
    found = cited(citation)
    assert (found.title, found.journal) == (title, journal)


@pytest.mark.parametrize(
    ("names", "authors", "others"),
    [
        ("Moe AB et al.", (Author("Moe", "AB"),), True),
        ("Moe et al.", (Author("Moe"),), True),
        ("O'Moe B, Gonzalez Herranz P, Moe-Roe AHRW.", None, False),
        ("Moe AB (author from memory).", (Author("Moe", "AB"),), False),
        ("A clinic of many.", (), False),
        ("Moe.", (), False),
    ],
)
def test_authors_are_those_named_with_initials(names: str, authors: tuple[Author, ...] | None, others: bool) -> None:
    found = cited(f"{names} A title. Spine 2014;39:1-2")
    expected = (Author("O'Moe", "B"), Author("Gonzalez Herranz", "P"), Author("Moe-Roe", "AHRW"))
    assert (found.authors, found.others) == (expected if authors is None else authors, others)
    assert found.journal == "Spine"


@pytest.mark.parametrize("citation", ["Moe AB. Pediatr Radiol 2021 (23 children)", "Moe AB et al. 2016: a subject"])
def test_without_a_title_the_whole_citation_stands_in_its_place(citation: str) -> None:
    assert cited(citation).title == citation


def test_a_year_that_the_source_says_otherwise_leaves_the_rest_as_it_stands() -> None:
    found = cited("Moe AB. A title. Spine 2014;39:1-2", year=2015)
    assert (found.title, found.journal, found.year) == ("A title. Spine 2014;39:1-2", "", 2015)


def test_a_page_is_its_words_alone() -> None:
    found = cited("Moe AB. A page. Spine 2014;39:1-2", kind="page")
    assert (found.title, found.authors, found.journal) == ("Moe AB. A page. Spine 2014;39:1-2", (), "")


def test_practice_memory_and_judgement_are_no_publications() -> None:
    given = {one.source.id for one in SHIPPED}
    assert not given & {"common_practice", "own_judgement", "from_memory"}
    assert {one.id for one in load_protocol().sources if one.id not in given} == {
        one.id for one in load_protocol().sources if one.kind == "none"
    }


@for_each(SHIPPED, name=lambda one: one.source.id)
def test_every_part_of_a_shipped_source_stands_in_its_citation(one: Cited) -> None:
    said = one.source.citation
    shown = [one.title, one.journal, one.volume, one.issue, one.pages]
    shown += [f"{author.family} {author.given}".strip() for author in one.authors]
    if one.year is not None and one.source.year is None:
        shown.append(str(one.year))
    assert [part for part in shown if part not in said] == []
    assert one.title
    assert said in one.note


@for_each(SHIPPED, name=lambda one: one.source.id)
def test_no_year_and_volume_is_left_in_a_title(one: Cited) -> None:
    if one.source.kind == "publication" and one.title != one.source.citation:
        assert not re.search(r" (19|20)\d\d;\d+:\w", one.title)


def test_most_publications_have_their_journal_and_about_half_their_authors() -> None:
    publications = [one for one in SHIPPED if one.source.kind == "publication"]
    assert sum(bool(one.journal) for one in publications) > 0.65 * len(publications)
    assert sum(bool(one.authors) for one in publications) > 0.5 * len(publications)
