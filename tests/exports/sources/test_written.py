"""The cited sources as BibTeX, read back by a parser of its own, and as CSL-JSON by the shape that it asks for."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from pathway.cli.main import main
from pathway.exports.sources.bibtex import bibtex
from pathway.exports.sources.csl import csl_json
from pathway.exports.sources.parts import citable
from pathway.protocol.base import Source
from pathway.protocol.load import load_protocol

bibtexparser = pytest.importorskip("bibtexparser", reason="bibtexparser is not installed here")
middlewares = pytest.importorskip("bibtexparser.middlewares")
SOURCES = load_protocol().sources
CITED = {one.source.id: one for one in citable(SOURCES)}
HOSTILE = Source.model_validate(
    {
        "id": "odd",
        "citation": "Moe AB et al. 50 % of {braces} & #1_$2 ~ ^ \\input. Spine 2014;39:1-2",
        "doi": "10.1000/a(b)<c>_{d}",
        "seen": "} @article{x, title = {y}}",
    }
)
CSL_FIELDS = {"id", "type", "title", "author", "container-title", "issued", "volume", "issue", "page", "DOI", "PMID"}
CSL_FIELDS |= {"URL", "note"}
VERBATIM = ("doi", "url")


def read(text: str):
    """Entries as the parser gives them, names taken apart and LaTeX undone; DOI and address as they stand."""
    found: dict = {}
    words = [middlewares.SeparateCoAuthors(), middlewares.LatexDecodingMiddleware()]
    for layers, taken in ((words, lambda key: key not in VERBATIM), ([], lambda key: key in VERBATIM)):
        library = bibtexparser.parse_string(text, append_middleware=layers)
        assert library.failed_blocks == []
        for entry in library.entries:
            fields = {field.key: field.value for field in entry.fields if taken(field.key)}
            found.setdefault(entry.key, {}).update(fields)
    return found


def bare(value: str) -> str:
    return " ".join(value.replace("{", "").replace("}", "").split())


def test_bibtex_comes_back_whole() -> None:
    found = read(bibtex(SOURCES))
    assert list(found) == list(CITED)
    for key, fields in found.items():
        one = CITED[key]
        assert bare(fields["title"]) == bare(one.title), key
        assert fields.get("journal", "") == one.journal
        assert fields.get("year", "") == ("" if one.year is None else str(one.year))
        assert fields.get("volume", "") == one.volume
        assert fields.get("doi", "") == one.source.doi
        assert fields.get("url", "") == one.source.address
        assert fields.get("pmid", "") == one.source.pmid
        assert len(fields.get("author", ())) == len(one.authors) + one.others
        assert [name.partition(",")[0] for name in fields.get("author", ()) if name != "others"] == [
            author.family for author in one.authors
        ]
        assert bare(one.source.citation) in bare(fields["annote"])


def test_words_that_mean_something_to_latex_are_words() -> None:
    (entry,) = read(bibtex([HOSTILE])).values()
    # The parser gives LaTeX's circumflex as the letter that modifies.
    assert bare(entry["title"]).replace("\u02c6", "^") == "50 % of braces & #1_$2 ~ ^ \\input"
    assert entry["author"] == ["Moe, A. B.", "others"]
    assert entry["doi"] == "10.1000/a(b)<c>_%7Bd%7D"


def test_csl_json_has_the_fields_of_its_schema_and_comes_back_whole() -> None:
    items = json.loads(csl_json(SOURCES))
    assert [item["id"] for item in items] == list(CITED)
    for item in items:
        one = CITED[item["id"]]
        assert set(item) <= CSL_FIELDS
        assert item["type"] in ("article-journal", "webpage", "document")
        assert (item["type"] == "article-journal") == bool(one.journal)
        assert item["title"] == one.title
        assert item.get("issued", {}).get("date-parts", [[None]]) == [[one.year]]
        names = [author["family"] for author in item.get("author", ()) if "family" in author]
        assert names == [author.family for author in one.authors]
        assert ({"literal": "et al."} in item.get("author", ())) == one.others
        assert (item.get("DOI", ""), item.get("PMID", "")) == (one.source.doi, one.source.pmid)


@pytest.mark.parametrize(
    ("name", "start"), [("s.bib", "@article{aap_2016,"), ("s.json", "[\n"), ("S.BIB", "@article{")]
)
def test_the_ending_of_the_file_says_which_form(name: str, start: str, tmp_path: Path) -> None:
    done = CliRunner().invoke(main, ["rules", "sources", "-o", str(tmp_path / name)])
    assert done.exit_code == 0, done.stderr
    assert (tmp_path / name).read_text(encoding="utf-8").startswith(start)


def test_another_ending_is_refused_and_a_file_that_is_there_stays(tmp_path: Path) -> None:
    for name in ("s.ris", "sources"):
        done = CliRunner().invoke(main, ["rules", "sources", "-o", str(tmp_path / name)])
        assert (done.exit_code, done.stdout) == (2, "")
        assert "expected a name that ends in .bib (BibTeX) or .json (CSL-JSON)" in done.stderr
    kept = tmp_path / "own.bib"
    kept.write_text("mine", encoding="utf-8")
    assert CliRunner().invoke(main, ["rules", "sources", "-o", str(kept)]).exit_code == 2
    assert kept.read_text(encoding="utf-8") == "mine"


def test_a_clinics_own_sources_are_among_them(tmp_path: Path) -> None:
    text = '[[source]]\nid = "own_list"\ncitation = "Own list"\nkind = "page"\nseen = "read"\n'
    text += 'no_address = "the own archive"\n'
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    done = CliRunner().invoke(main, ["rules", "sources", "--protocol", str(tmp_path)])
    assert done.exit_code == 0, done.stderr
    assert bare(read(done.stdout)["own_list"]["title"]) == "Own list"
