"""Files that are no case files: each gives one clear sentence with place, found, expected and remedy; exit 2."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pathway.cli.main import main

EXAMPLE = Path(__file__).parents[2] / "example_patients" / "rowan-02.toml"
TEXT = EXAMPLE.read_text(encoding="utf-8")


def run(*words: str) -> Result:
    return CliRunner().invoke(main, [*words, "--on", "2027-05-20"])


def huge(file: Path) -> None:
    with file.open("wb") as sparse:
        sparse.truncate(200_000_000)


ODD: dict[str, tuple[Callable[[Path], object], str]] = {
    "two hundred megabytes": (huge, "found 200000000 bytes, expected at most"),
    "utf-16": (lambda f: f.write_bytes(TEXT.encode("utf-16")), "found text that is not UTF-8"),
    "latin-1": (lambda f: f.write_bytes(TEXT.replace("rowan", "rowän").encode("latin-1")), "not UTF-8"),
    "truncated in a text": (lambda f: f.write_text(TEXT[: TEXT.index('method = "') + 12]), "line "),
    "truncated in a header": (lambda f: f.write_text(TEXT[: TEXT.index("[[visit]]") + 5]), "line "),
    "a null byte": (lambda f: f.write_text(TEXT + "\0"), "line "),
    "brackets without end": (lambda f: f.write_text("a = " + "[" * 50_000), "expected"),
    "tables without end": (lambda f: f.write_text("[" + "a." * 20_000 + "a]\nb = 1\n"), "expected"),
    "dotted keys without end": (lambda f: f.write_text("a." * 20_000 + "b = 1\n"), "expected"),
    "numbers without end": (lambda f: f.write_text(f"schema_version = {'9' * 100_000}\n"), "expected"),
    "a folder": (lambda f: f.mkdir(), "found a folder, expected a case file"),
    "a link to nowhere": (lambda f: f.symlink_to(f.parent / "gone.toml"), "found no such file"),
    "a link to itself": (lambda f: f.symlink_to(f), "cannot be read"),
    "empty": (lambda f: f.write_text(""), "expected"),
    "a picture": (lambda f: f.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(100)), "not UTF-8"),
}


@pytest.mark.parametrize("name", sorted(ODD))
@pytest.mark.parametrize("verb", ["plan", "followup", "registry import"])
def test_an_odd_file_is_told_and_nothing_else_happens(
    name: str, verb: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LIMB_PATHWAY_REGISTRY", str(tmp_path / "clinic.db"))
    make, says = ODD[name]
    file = tmp_path / "odd.toml"
    make(file)
    if verb == "registry import":
        result = CliRunner().invoke(main, ["registry", "import", str(file)])
        listed = CliRunner().invoke(main, ["registry", "list"])
        assert "odd" not in listed.stdout
    else:
        result = run(verb, str(file))
    assert result.exit_code == 2, result.output
    assert says in result.stderr
    assert "odd.toml" in result.stderr
    assert "Traceback" not in result.output


def test_a_link_to_a_case_is_read_as_the_case(tmp_path: Path) -> None:
    link = tmp_path / "link.toml"
    link.symlink_to(EXAMPLE)
    assert run("plan", str(link)).exit_code == 0
