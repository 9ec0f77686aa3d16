"""What the family reads: easy words, nothing that names the child, and a child that is invented said to be so."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from types import ModuleType

import pytest

from pathway.plan.model import Plan
from pathway.views.documents.document import Bullets, Callout, Card, Document, Facts, Heading, Paragraph
from pathway.views.documents.files import markdown
from pathway.views.documents.handout import handout
from pathway.views.documents.summary import summary
from pathway.views.words.wording import wording
from tests.examples import NAMES
from tests.plans import plan, rules
from tests.views.documents.made import family, family_html, team, team_html, words_of

GRADE, GRADE_OF_A_PART, LEAST_WORDS = 6.0, 7.0, 30
GERMAN_YEAR = 6.0
"""The school year whose pupils, twelve years old, may read the German text: the same readers as in English."""
CALLED = {"en": "Facts: ", "de": "Quellen: "}


@cache
def german(name: str) -> Document:
    return handout(plan(name), wording("de"), rules())


@pytest.fixture
def textstat_in_german() -> Iterator[ModuleType]:
    textstat = pytest.importorskip("textstat", reason="textstat is not installed here")
    textstat.set_lang("de")
    yield textstat
    textstat.set_lang("en_US")


def prose(document: Document) -> dict[str, list[str]]:
    """The running text by heading; citations left out, as they are names of papers."""
    part, found = "", {}
    for block in document.blocks:
        lines: list[str] = []
        match block:
            case Heading(text):
                part = text
            case Paragraph(text):
                lines = [text]
            case Callout(_, texts):
                lines = list(texts)
            case Bullets(items, numbers) if not numbers:
                called = CALLED[document.language].strip()
                lines = [item.split(f" {called}")[0] for item in items]
            case Card() | Facts():
                lines = [text for _, text in block.facts]
        found.setdefault(part, []).extend(line if line.endswith((".", "?")) else f"{line}." for line in lines)
    return {name: lines for name, lines in found.items() if lines}


@pytest.mark.parametrize("name", NAMES)
def test_the_reading_level_is_that_of_a_twelve_year_old(name: str) -> None:
    """US grade 6 by Kincaid JP et al. 1975 (Derivation of new readability formulas), as textstat counts it."""
    textstat = pytest.importorskip("textstat", reason="textstat is not installed here")
    parts = prose(family(name))
    whole = " ".join(line for lines in parts.values() for line in lines)
    assert textstat.flesch_kincaid_grade(whole) <= GRADE
    for part, lines in parts.items():
        text = " ".join(lines)
        if len(text.split()) >= LEAST_WORDS:
            assert textstat.flesch_kincaid_grade(text) <= GRADE_OF_A_PART, part


def test_the_measure_tells_hard_words_from_easy_ones() -> None:
    textstat = pytest.importorskip("textstat", reason="textstat is not installed here")
    hard = "Intertrochanteric osteotomy necessitates postoperative immobilisation and individualised rehabilitation."
    assert textstat.flesch_kincaid_grade(hard) > 12


class TestInGerman:
    """The first Wiener Sachtextformel, as textstat counts it, made of German texts and told in school years from 4 on.

    Bamberger R, Vanecek E. Lesen, Verstehen, Lernen, Schreiben. Wien 1984. Long words weigh in it, and a document on
    the Oberschenkelknochen has them in every line, so the bound holds sentences short and every other word plain.
    """

    @pytest.mark.parametrize("name", NAMES)
    def test_the_reading_level_is_that_of_the_sixth_school_year(self, name: str, textstat_in_german) -> None:
        parts = prose(german(name))
        whole = " ".join(line for lines in parts.values() for line in lines)
        assert textstat_in_german.wiener_sachtextformel(whole, 1) <= GERMAN_YEAR
        for part, lines in parts.items():
            text = " ".join(lines)
            if len(text.split()) >= LEAST_WORDS:
                assert textstat_in_german.wiener_sachtextformel(text, 1) <= GERMAN_YEAR, part

    def test_the_measure_tells_hard_words_from_easy_ones(self, textstat_in_german) -> None:
        hard = "Die intertrochantäre Osteotomie erfordert postoperativ eine konsequente, individuelle Rehabilitation."
        assert textstat_in_german.wiener_sachtextformel(hard, 1) > 12

    @pytest.mark.parametrize("name", NAMES)
    def test_no_sentence_is_left_in_english(self, name: str) -> None:
        """Only names of papers and of the protocol are: they stand in the list of sources and beside its version."""
        told = [line for lines in prose(german(name)).values() for line in lines if rules().name not in line]
        english = re.compile(r"\b(the|of|and|is|are|with|your|child|leg|bone|operation is|step)\b")
        assert [line for line in told if english.search(line)] == []


@pytest.mark.parametrize("name", NAMES)
def test_nothing_but_the_pseudonym_tells_who_it_is(name: str) -> None:
    born = plan(name).child.date_of_birth
    for text in (words_of(family(name)), words_of(team(name)), family_html(name), team_html(name)):
        assert born.isoformat() not in text
        assert f"{born.day}.{born.month}.{born.year}" not in text
    assert name in family(name).subtitle
    assert name in team(name).title


def test_a_note_of_the_case_file_does_not_leave_the_house() -> None:
    named = _noted("Ask Erika Mustermann, 0555 0100")
    for document in (handout(named, wording(), rules()), summary(named)):
        assert "Mustermann" not in markdown(document)
        assert "invented" not in markdown(document)


@pytest.mark.parametrize("name", NAMES)
def test_an_invented_child_is_said_to_be_invented(name: str) -> None:
    assert "This child is invented." in words_of(family(name))
    assert "This child is invented" in words_of(team(name))


@pytest.mark.parametrize("name", NAMES)
def test_what_a_family_asks_for_is_all_there(name: str) -> None:
    headings = [block.text for block in family(name).blocks if isinstance(block, Heading)]
    wanted = [
        "In two minutes",
        "What your child has",
        "If no operation is done",
        "What we do next",
        "The road ahead",
        "Step by step",
        *(["Each choice in full"] if plan(name).alternatives else []),
        "What can go wrong, and what you gain",
        "What could change the plan",
        "What parents ask",
        "Questions for your own team",
        "Where the facts come from",
    ]
    assert [text for text in headings if text in wanted] == wanted


@pytest.mark.parametrize("name", NAMES)
def test_every_number_of_a_fact_points_to_a_source_in_the_list(name: str) -> None:
    listed = {n for block in family(name).blocks if isinstance(block, Bullets) for n in block.numbers}
    feet = [block.foot for block in family(name).blocks if isinstance(block, Card)]
    cited = {int(n) for foot in feet if foot for n in foot.removeprefix("Facts: ").split(", ")}
    assert cited <= listed


def _noted(note: str) -> Plan:
    made = plan("rowan-02")
    return made.model_copy(update={"child": made.child.model_copy(update={"note": note})})
