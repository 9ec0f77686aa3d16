"""The edge: one place prints what is refused and chooses the exit code; the help names every verb on one line."""

from __future__ import annotations

import gc
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from pathway.cli.main import FORMER, SECTIONS, main
from pathway.problems import Problem, Refused, cannot

ROOT = Path(__file__).parents[2]
EDGE = Path("pathway/cli/errors.py")
ONLY_THERE = re.compile(r"sys\.exit|SystemExit|err=True|\bBAD_INPUT\b *[,=]")


def run(*words: str, **variables: str) -> Result:
    return CliRunner(env=variables).invoke(main, list(words))


def groups(group: click.Group = main, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], click.Group]]:
    yield path, group
    for name, verb in group.commands.items():
        if isinstance(verb, click.Group):
            yield from groups(verb, (*path, name))


def test_only_the_edge_prints_on_stderr_and_leaves() -> None:
    found = {
        f"{file.relative_to(ROOT)}: {line.strip()}"
        for package in ("pathway", "tui")
        for file in (ROOT / package).rglob("*.py")
        if file.relative_to(ROOT) != EDGE
        for line in file.read_text(encoding="utf-8").splitlines()
        if ONLY_THERE.search(line) and "import" not in line
    }
    assert found == set()
    assert len(ONLY_THERE.findall((ROOT / EDGE).read_text(encoding="utf-8"))) >= 5


def test_a_list_that_fails_leaves_the_search_for_garbage_on(tmp_path) -> None:
    assert run("registry", "list", "--registry", str(tmp_path / "none.db")).exit_code == 2
    assert gc.isenabled()


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (Refused(Problem("a.toml", "child.sex", 3, "'male'", "girl or boy", "correct it")), 2),
        (cannot("a.toml", "no stage has a date", "see `plan`"), 1),
    ],
)
def test_what_is_refused_anywhere_is_printed_with_its_exit_code(error, code, monkeypatch) -> None:
    def refusing(*_: object) -> None:
        raise error

    monkeypatch.setattr("pathway.children.resolve.locate", refusing)
    result = run("plan", "rowan-02")
    assert (result.exit_code, result.stdout, result.stderr) == (code, "", f"{error}\n")


def test_a_sentence_says_what_is_known() -> None:
    assert (
        Problem("a.toml", "child.sex", 3, "x", "y", "do").sentence
        == "a.toml, line 3, child.sex: found x, expected y; do."
    )
    assert Problem("a.toml", "", None, "cannot be read", "", "").sentence == "a.toml: cannot be read."
    assert Problem("", "", None, "x", "y", "is it one?").sentence == "found x, expected y; is it one?"


def test_a_fault_of_the_program_is_said_without_a_traceback() -> None:
    code = (
        "import pathway.children.resolve as resolve\nfrom pathway.cli.main import main\n"
        "def failing(*_):\n    return {}['a key']\n"
        "resolve.locate = failing\nmain(['plan', 'rowan-02'])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    assert re.fullmatch(r"limb-pathway: internal error \(KeyError: 'a key'\) in .*, line 4; please .*\n", done.stderr)


def test_a_former_name_is_refused_with_the_new_one() -> None:
    assert FORMER == {"road": "timeline", "before": "prerequisites", "behind": "sources"}
    for old, new in FORMER.items():
        result = run(old, "rowan-02")
        assert (result.exit_code, result.stdout) == (2, "")
        assert f"expected `main {new}`" in result.stderr
        assert old not in main.commands
        assert new in main.commands
    result = run("picture", "road", "rowan-02", "-o", "made.svg")
    assert result.exit_code == 2
    assert "expected `timeline`" in result.stderr


def test_the_help_lists_every_verb_once_on_a_line_that_is_not_cut() -> None:
    for path, group in groups():
        lines = run(*path, "--help", COLUMNS="80").stdout.splitlines()
        for name, verb in group.commands.items():
            own = [line.strip() for line in lines if re.match(rf"  {re.escape(name)}\s", line)]
            assert len(own) == 1, (path, name, own)
            assert own[0] == re.sub(r" {2,}", lambda gap: gap[0], own[0])
            assert own[0].split(None, 1)[1] == verb.short_help, (path, name)
            assert not own[0].endswith("...")
        assert max(map(len, lines)) <= 80


def test_the_help_groups_the_verbs_as_the_manual_does() -> None:
    manual = (ROOT / "pathway" / "views" / "manual" / "verbs.md").read_text(encoding="utf-8")
    table = manual[manual.index("| command |") : manual.index("`CASE` is a file")]
    spoken = re.compile(r"see `limb-pathway manual [a-z]+`").sub("", table)
    named = list(dict.fromkeys(re.findall(r"`limb-pathway ([a-z]+)|`(rules) list", spoken)))
    in_manual = [one or other for one, other in named]
    in_help = [name for verbs in SECTIONS.values() for name in verbs]
    assert set(in_help) == set(main.commands)
    assert in_help == in_manual
