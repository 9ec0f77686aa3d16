"""The verbs that write: files by their ending, faults in words, nothing loaded that is not needed."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pathway.cli.main import main
from tests.examples import example

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


@pytest.mark.parametrize("which", ["timeline", "growth", "graph"])
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
        (["picture", "timeline", "oak-12", "-o", "made.gif"], 2, "ends in .svg or .png"),
        (["handout", "oak-12", "-o", "no/such/folder/made.pdf"], 2, "no such folder"),
        (["handout", "oak-12", "-o", "made.pdf", "--language", "xx"], 2, "expected one of de, en"),
        (
            ["handout", "oak-12", "-o", "made.pdf", "--wording", "none.toml"],
            2,
            "no such file, expected a file of words",
        ),
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


def test_a_language_of_ours_is_whole_and_nothing_is_said_of_another(tmp_path: Path) -> None:
    result = run("handout", "oak-12", "-o", tmp_path / "made.html", "--language", "de", *ON)
    assert result.exit_code == 0
    assert result.stderr.split() == ["Wrote", f"{tmp_path / 'made.html'}."]
    page = (tmp_path / "made.html").read_text(encoding="utf-8")
    assert '<html lang="de" dir="ltr">' in page
    assert "Eine Hilfe zum Planen: Die behandelnden Chirurgen entscheiden" in page
    assert "surgeon" not in page


def test_a_clinic_that_reworded_a_rule_is_read_in_its_own_words_in_every_language(tmp_path: Path) -> None:
    own = tmp_path / "rules"
    own.mkdir()
    stage = '[[stage]]\nid = "examination"\nfamily_words = "Ein Termin bei uns am Hang."\n'
    (own / "ours.toml").write_text(stage, encoding="utf-8")
    out = tmp_path / "made.html"
    result = run("handout", "rowan-02", "-o", out, "--language", "de", "--protocol", own, *ON)
    assert result.exit_code == 0, result.stderr
    page = out.read_text(encoding="utf-8")
    assert "Ein Termin bei uns am Hang." in page
    assert "Bei einem Termin vor dem nächsten Schritt" not in page


def test_a_clinics_words_are_used(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text('[handout]\ntitle = "From the hill clinic"\n', encoding="utf-8")
    run("handout", "oak-12", "-o", tmp_path / "made.html", "--wording", own, *ON)
    assert "<h1>From the hill clinic</h1>" in (tmp_path / "made.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("arguments", [["--help"], ["handout", "--help"], ["plan", "oak-12", *ON]])
def test_other_verbs_do_not_load_the_layout(arguments: list[str]) -> None:
    code = (
        "import sys\nfrom pathway.cli.main import main\n"
        f"try: main({arguments!r})\nexcept SystemExit: pass\n"
        "print(sorted({'typst', 'jinja2', 'pathway.views.words.wording'} & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip().splitlines()[-1] == "[]"


@pytest.fixture
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A registry with rowan-02 under a name that no file and no example has."""
    from pathway.casefile import case_text

    child = example("rowan-02").child.model_copy(update={"id": "aspen-77"})
    text = case_text(example("rowan-02").model_copy(update={"child": child}))
    (tmp_path / "aspen.toml").write_text(text, encoding="utf-8")
    monkeypatch.setenv("LIMB_PATHWAY_REGISTRY", str(tmp_path / "registry.db"))
    assert run("registry", "import", tmp_path / "aspen.toml", *ON).exit_code == 0
    return tmp_path


@pytest.mark.parametrize(
    "verb",
    [
        ["handout", "aspen-77", "-o", "made.html"],
        ["picture", "timeline", "aspen-77", "-o", "made.svg"],
        ["calendar", "aspen-77", "-o", "made.ics"],
        ["fhir", "aspen-77", "-o", "made.json"],
    ],
)
def test_a_child_of_the_registry_is_taken_by_its_id(verb: list[str], kept: Path, monkeypatch) -> None:
    monkeypatch.chdir(kept)
    result = run(*verb, *ON)
    assert result.exit_code == 0, result.stderr
    assert "aspen-77" in Path(verb[-1]).read_text(encoding="utf-8") or verb[0] == "picture"


def summary_of(kept: Path, *on: str) -> str:
    assert run("summary", "aspen-77", "-o", kept / "made.md", *(on or ON)).exit_code == 0
    return (kept / "made.md").read_text(encoding="utf-8")


def test_the_summary_tells_the_accepted_revision_and_whether_it_still_holds(kept: Path) -> None:
    assert "No plan for this child has been accepted yet." in summary_of(kept)
    assert run("accept", "aspen-77", "--by", "first surgeon", *ON).exit_code == 0
    told = summary_of(kept)
    assert "Accepted: revision 1, by first surgeon on 20" in told
    assert "planned as of 2026-11-25 with version " in told
    assert "The plan below is the same." in told
    later = summary_of(kept, "--on", "2026-12-02")
    assert "The plan below has the same stages and amounts; " in later
    assert "dates moved, by " in later
    wish = ["--prefer", "fewest_operations", "--reason", "wish of the family"]
    assert run("followup", "aspen-77", *wish, "--decline", "femoral_lengthening", "--save", *ON).exit_code == 0
    assert "The plan below has different stages or amounts, which nobody has accepted yet." in summary_of(kept)
    assert run("accept", "aspen-77", "--by", "second surgeon", *ON).exit_code == 0
    assert "Accepted: revision 2, by second surgeon on 20" in summary_of(kept)


def test_a_file_says_nothing_of_revisions(tmp_path: Path) -> None:
    run("summary", "rowan-02", "-o", tmp_path / "made.md", *ON)
    assert "ccepted" not in (tmp_path / "made.md").read_text(encoding="utf-8")


def test_what_is_wrong_with_the_registry_is_told_with_the_name_that_is_not_found(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setenv("LIMB_PATHWAY_REGISTRY", str(tmp_path / "none.db"))
    result = run("summary", "aspen-77", "-o", tmp_path / "made.md", *ON)
    assert result.exit_code == 2
    assert "found no registry there" in result.stderr
    assert "found no such file" in result.stderr


def test_an_example_needs_no_database(tmp_path: Path) -> None:
    code = (
        "import sys\nfrom pathway.cli.main import main\n"
        f"try: main(['summary', 'oak-12', '-o', {str(tmp_path / 'made.md')!r}, '--on', '2026-11-25'])\n"
        "except SystemExit: pass\nprint('sqlalchemy' in sys.modules)"
    )
    none = {**os.environ, "LIMB_PATHWAY_REGISTRY": str(tmp_path / "none.db")}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=none)
    assert done.stdout.strip() == "False"
