"""The PDFs as programs of others see them: poppler, qpdf and a checker of PDF/UA."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from pathway.views.documents.files import pdf
from pathway.views.documents.summary import AcceptedPlan, summary
from tests.examples import NAMES
from tests.plans import plan
from tests.views.documents.made import family, family_pdf, need, run, squeezed, team, team_pdf, texts, words_of

PAPERS = {"a4": "595.276 x 841.89", "letter": "612 x 792"}


MOST_OF_FAMILY = 12
"""Pages for a family: every choice in the same fields takes its room."""


MOST_OF_TEAM = 2


@pytest.fixture
def saved(tmp_path: Path):
    def save(made: bytes) -> Path:
        file = tmp_path / "made.pdf"
        file.write_bytes(made)
        return file

    return save


def info(file: Path) -> dict[str, str]:
    lines = (line.partition(":") for line in run("pdfinfo", file).splitlines())
    return {name: value.strip() for name, _, value in lines}


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", NAMES)
def test_the_familys_document_has_tagged_pages_with_a_title(name: str, paper: str, saved) -> None:
    file = saved(family_pdf(name, paper))
    found = info(file)
    assert found["Tagged"] == "yes"
    assert found["Title"].startswith("The years ahead")
    assert name in found["Title"]
    assert 2 <= int(found["Pages"]) <= MOST_OF_FAMILY
    first = run("pdftotext", "-l", "1", "-layout", file, "-")
    for wanted in ("What it is", "The difference", "What comes next", "Who decides"):
        assert wanted in first, "what two minutes are for stands on the first page"
    assert found["Page size"].startswith(PAPERS[paper])


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", NAMES)
def test_the_teams_document_is_one_tagged_page_or_two(name, paper, saved) -> None:
    found = info(saved(team_pdf(name, paper)))
    assert found["Tagged"] == "yes"
    assert int(found["Pages"]) <= MOST_OF_TEAM
    assert name in found["Title"]


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", NAMES)
def test_the_accepted_revision_has_room_on_that_page(name: str, paper: str, saved) -> None:
    at = datetime.datetime(2026, 11, 20, 12, tzinfo=datetime.UTC)
    stages = tuple((stage.id, None, stage.amount_mm) for stage in plan(name).stages)
    accepted = AcceptedPlan(12, "x" * 80, at, at.date(), "0.3.0", stages)
    made = saved(pdf(summary(plan(name), {}, accepted, kept=True), paper))
    assert int(info(made)["Pages"]) <= MOST_OF_TEAM
    assert "Accepted: revision 12" in run("pdftotext", "-raw", made, "-")


@pytest.mark.parametrize("name", NAMES)
def test_every_text_can_be_searched(name: str, saved) -> None:
    for document, made in ((family(name), family_pdf(name)), (team(name), team_pdf(name))):
        printed = squeezed(run("pdftotext", "-raw", saved(made), "-"))
        parts = [part for block in document.blocks for text in texts(block) for part in text.split()]
        assert [part for part in parts if squeezed(part) not in printed] == []


@pytest.mark.parametrize("name", NAMES)
def test_the_caution_stands_in_both(name: str) -> None:
    for document in (family(name), team(name)):
        assert "the treating surgeon decides" in words_of(document)


@pytest.mark.parametrize("name", NAMES)
def test_a_checker_of_pdf_ua_finds_no_breach(name: str, saved) -> None:
    """PDF/UA-1 (ISO 14289-1), as far as `pdfua` covers it; typst enforces the standard as well."""
    pdfua = pytest.importorskip("pdfua", reason="the checker pdfua is not installed here")
    for made in (family_pdf(name), team_pdf(name)):
        report = pdfua.validate(str(saved(made)))
        assert [str(finding) for finding in report.findings] == []


def test_the_file_is_sound(saved) -> None:
    need("qpdf")
    assert "No syntax or stream encoding errors" in run("qpdf", "--check", saved(family_pdf("rowan-02")))


def test_the_language_is_told(saved) -> None:
    pikepdf = pytest.importorskip("pikepdf", reason="pikepdf is not installed here")
    with pikepdf.open(saved(family_pdf("rowan-02"))) as file:
        assert str(file.Root.Lang).startswith("en")


def test_the_same_plan_gives_the_same_bytes() -> None:
    assert pdf(family("oak-12")) == family_pdf("oak-12")


def test_drawings_stay_vectors(saved) -> None:
    assert len(run("pdfimages", "-list", saved(family_pdf("rowan-02"))).splitlines()) <= 2
