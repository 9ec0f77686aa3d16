"""The verbs that write: files by their ending, faults in words, nothing loaded that is not needed."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pathway.cli import main

ON = ["--on", "2026-11-25"]
STARTS = {"pdf": b"%PDF-", "html": b"<!DOCTYPE html>", "md": b"# Plan of", "svg": b"<svg ", "png": b"\x89PNG"}


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, [str(item) for item in arguments])


@pytest.mark.parametrize(
    ("verb", "ending"),
    [("handout", "pdf"), ("handout", "html"), ("summary", "pdf"), ("summary", "html"), ("summary", "md")],
)
def test_a_document_is_written_by_its_ending(verb: str, ending: str, tmp_path: Path) -> None:
    out = tmp_path / f"made.{ending}"
    result = run(verb, "oak-12", "-o", out, *ON)
    assert (result.exit_code, result.stdout) == (0, "")
    assert out.read_bytes().startswith(STARTS[ending])


@pytest.mark.parametrize("which", ["road", "growth", "graph"])
@pytest.mark.parametrize("ending", ["svg", "png"])
def test_a_picture_is_written_by_its_ending(which: str, ending: str, tmp_path: Path) -> None:
    out = tmp_path / f"made.{ending}"
    assert run("picture", which, "oak-12", "-o", out, *ON).exit_code == 0
    assert out.read_bytes().startswith(STARTS[ending])


@pytest.mark.parametrize(
    ("arguments", "code", "named"),
    [
        (["handout", "oak-12", "-o", "made.doc"], 2, "ends in .pdf or .html"),
        (["summary", "oak-12", "-o", "made"], 2, "ends in .pdf or .html or .md"),
        (["picture", "road", "oak-12", "-o", "made.gif"], 2, "ends in .svg or .png"),
        (["handout", "oak-12", "-o", "no/such/folder/made.pdf"], 2, "cannot be written"),
        (["handout", "oak-12", "-o", "made.pdf", "--language", "xx"], 2, "expected one of de, en"),
        (["handout", "oak-12", "-o", "made.pdf", "--wording", "none.toml"], 2, "expected a UTF-8 file of words"),
        (["handout", "nobody", "-o", "made.pdf"], 2, "found no such file"),
        (["picture", "growth", "elm-01", "-o", "made.svg"], 1, "both legs measured"),
    ],
)
def test_a_fault_is_told_in_words_and_nothing_is_written(arguments, code, named, tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    result = run(*arguments, *ON)
    assert result.exit_code == code
    assert named in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_begun_language_is_told_of_on_the_way(tmp_path: Path) -> None:
    result = run("handout", "oak-12", "-o", tmp_path / "made.html", "--language", "de", *ON)
    assert result.exit_code == 0
    assert "Englisch" in result.stderr


def test_a_clinics_words_are_used(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text('[handout]\ntitle = "From the hill clinic"\n', encoding="utf-8")
    run("handout", "oak-12", "-o", tmp_path / "made.html", "--wording", own, *ON)
    assert "<h1>From the hill clinic</h1>" in (tmp_path / "made.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("arguments", [["--help"], ["handout", "--help"], ["plan", "oak-12", *ON]])
def test_other_verbs_do_not_load_the_layout(arguments: list[str]) -> None:
    code = (
        "import sys\nfrom pathway.cli import main\n"
        f"try: main({arguments!r})\nexcept SystemExit: pass\n"
        "print(sorted({'typst', 'jinja2', 'pathway.wording'} & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip().splitlines()[-1] == "[]"
