"""What is printed: JSON that its schema knows, lines no wider than the terminal, headings strong only there."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from collections.abc import Iterator
from importlib import resources

import click
import jsonschema
import pytest
from click.testing import CliRunner

from pathway.cli.main import main
from pathway.views.data.shapes import SAME, SHAPES, schema_text
from pathway.views.words.wrapping import wrap
from tests.cli.test_rules import CLINIC
from tests.examples import NAMES

ON = ["--on", "2026-11-25"]
VERBS = {
    "plan": ["plan", "{}"],
    "growth": ["growth", "{}"],
    "programme": ["programme", "{}"],
    "why": ["why", "{}", "femoral_lengthening"],
    "alternatives": ["alternatives", "{}"],
    "worksheet": ["worksheet", "lift", "{}"],
    "children": ["children", "{}"],
    "timeline": ["timeline", "{}"],
    "prerequisites": ["prerequisites", "{}"],
    "family": ["family", "{}"],
    "sources": ["sources", "{}"],
}


def shipped(verb: str) -> dict:
    file = resources.files("pathway.views.data").joinpath("schema", f"{verb}.json")
    return json.loads(file.read_text(encoding="utf-8"))


def printed(verb: str, name: str, *more: str) -> str:
    arguments = [part.format(name) for part in VERBS[verb]]
    result = CliRunner().invoke(main, [*arguments, *ON, *more])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert result.exit_code in (0, 1), result.output
    return result.stdout


def verbs_with_json(group: click.Group = main, path: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    for name, command in group.commands.items():
        if isinstance(command, click.Group):
            yield from verbs_with_json(command, (*path, name))
        elif any("--json" in parameter.opts for parameter in command.params):
            yield (*path, name)


def test_every_verb_that_prints_json_has_a_schema() -> None:
    names = {"-".join(path) for path in verbs_with_json()}
    assert {"registry-list", "rules-show"} < names
    assert {SAME.get(name, name) for name in names} == set(SHAPES)
    assert {name for name in SAME if name in names} == set(SAME)


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """What the verbs on changes, on the registry and on the rules print, by verb."""
    folder = tmp_path_factory.mktemp("kept")
    (folder / "hill").mkdir()
    (folder / "hill" / "gates.toml").write_text(CLINIC, encoding="utf-8")
    runner = CliRunner(env={"LIMB_PATHWAY_REGISTRY": str(folder / "registry.db")})

    def told(*words: str) -> str:
        result = runner.invoke(main, list(words))
        assert result.exit_code == 0, result.output
        return result.stdout

    told("registry", "import", "rowan-02", "hazel-08", "elm-01", "oak-12", *ON)
    told("registry", "replan", *ON)
    told("accept", "rowan-02", *ON)
    told("registry", "erase", "oak-12", "--reason", "test", "--yes")
    entered = ["--set", "left.femur_length_mm=120"]
    return {
        "demo": told("demo", "--json", *ON),
        "followup": told("followup", "rowan-02", *entered, "--discard", "--json", *ON),
        "compare": told("compare", "rowan-02", "rowan-02", "--before", "2026-11-20", "--json", *ON),
        "registry-list": told("registry", "list", "--json"),
        "registry-due": told("registry", "due", "--json", *ON),
        "registry-revisions": told("registry", "revisions", "rowan-02", "--json"),
        "achieved": told("achieved", "rowan-02", "--json", *ON),
        "registry-achieved": told("registry", "achieved", "--json", *ON),
        "registry-results": told("registry", "results", "--each", "--json", *ON),
        "registry-heads": told("registry", "heads", "--json"),
        "rules-list": told("rules", "list", "--json"),
        "rules-show": told("rules", "show", "femoral_lengthening", "--json"),
        "rules-overlay": told("rules", "overlay", str(folder / "hill"), "--json"),
    }


@pytest.mark.parametrize("width", [60, 80])
def test_no_line_of_lists_and_changes_is_wider_than_the_terminal(width: int, tmp_path, monkeypatch) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    monkeypatch.setenv("LIMB_PATHWAY_REGISTRY", str(tmp_path / "registry.db"))
    verbs = (
        ["registry", "import", "rowan-02", "hazel-08", "--by", "first surgeon of the hill clinic"],
        ["registry", "replan", *ON],
        ["accept", "rowan-02", "--by", "first surgeon of the hill clinic", "--reason", "as talked over", *ON],
        ["registry", "list"],
        ["registry", "due", "--months", "12", *ON],
        ["registry", "revisions", "rowan-02"],
        ["compare", "rowan-02", "rowan-02", "--before", "2026-11-20", *ON],
        ["rules", "show", "femoral_lengthening"],
    )
    for words in verbs:
        result = CliRunner().invoke(main, words)
        assert result.exit_code == 0, result.output
        lines = [line for line in result.stdout.splitlines() if "http" not in line]
        assert [line for line in lines if len(line) > width] == [], words


def test_nothing_is_left_out_of_these_tests(kept: dict[str, str]) -> None:
    assert set(kept) | set(VERBS) == set(SHAPES) | set(SAME)


def test_what_other_verbs_print_is_what_the_schema_says(kept: dict[str, str]) -> None:
    for verb, text in kept.items():
        validator = jsonschema.Draft202012Validator(
            shipped(SAME.get(verb, verb)), format_checker=jsonschema.Draft202012Validator.FORMAT_CHECKER
        )
        made = json.loads(text)
        validator.validate(made)
        assert made
        one = made[0] if isinstance(made, list) else made
        wrong = {**one, "surprise": 1}
        assert not validator.is_valid([wrong] if isinstance(made, list) else wrong), verb


@pytest.mark.parametrize("verb", SHAPES)
def test_the_shipped_schema_is_a_schema_and_in_step(verb: str) -> None:
    jsonschema.Draft202012Validator.check_schema(shipped(verb))
    assert json.dumps(shipped(verb)) == json.dumps(json.loads(schema_text(verb)))


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("verb", VERBS)
def test_what_is_printed_is_what_the_schema_says(verb: str, name: str) -> None:
    if verb == "worksheet" and name == "elm-01":
        pytest.skip("elm-01 has no leg length: there is no sheet for a lift")
    jsonschema.Draft202012Validator(shipped(verb)).validate(json.loads(printed(verb, name, "--json")))


def test_a_plan_with_worksheets_fits_its_schema_too() -> None:
    made = json.loads(printed("plan", "oak-12", "--worksheets", "--json"))
    jsonschema.Draft202012Validator(shipped("plan")).validate(made)


def test_a_programme_with_what_would_turn_it_fits_its_schema_too() -> None:
    made = json.loads(printed("programme", "oak-12", "--what-turns", "--json"))
    jsonschema.Draft202012Validator(shipped("programme")).validate(made)
    assert made["programme"]["turns"] is not None
    assert json.loads(printed("programme", "oak-12", "--json"))["programme"]["turns"] is None


@pytest.mark.parametrize("verb", VERBS)
def test_the_schema_refuses_what_is_not_of_its_verb(verb: str) -> None:
    made = json.loads(printed(verb, "oak-12", "--json"))
    validator = jsonschema.Draft202012Validator(shipped(verb))
    for wrong in ({}, {**made, "surprise": 1}):
        assert not validator.is_valid(wrong)


@pytest.mark.parametrize("width", [60, 80, 120])
@pytest.mark.parametrize("verb", ["plan", "growth", "why", "alternatives", "programme"])
def test_no_line_is_wider_than_the_terminal(verb: str, width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    for name in ("rowan-02", "cedar-05", "elm-01", "hazel-08"):
        assert [line for line in printed(verb, name).splitlines() if len(line) > width] == []


def test_piped_text_has_no_codes_of_the_terminal() -> None:
    for verb in VERBS:
        assert "\x1b" not in printed(verb, "rowan-02")


@pytest.mark.parametrize(("surrounding", "strong"), [({}, True), ({"NO_COLOR": "1"}, False), ({"TERM": "dumb"}, False)])
def test_headings_are_strong_in_a_terminal_that_wishes_it(surrounding: dict[str, str], strong: bool) -> None:
    told = {key: value for key, value in os.environ.items() if key != "NO_COLOR"}
    told |= {"TERM": "xterm-256color", **surrounding}
    master, slave = pty.openpty()
    command = [sys.executable, "-m", "pathway", "growth", "oak-12", *ON, "--plain"]
    with subprocess.Popen(command, stdout=slave, stdin=slave, stderr=subprocess.DEVNULL, env=told) as running:
        os.close(slave)
        shown = b""
        while True:
            try:
                part = os.read(master, 4096)
            except OSError:
                break
            if not part:
                break
            shown += part
        running.wait()
    os.close(master)
    assert (b"\x1b[1mClassical methods" in shown) is strong
    assert b"Classical methods" in shown


def test_a_number_keeps_its_unit_at_the_end_of_a_line() -> None:
    assert wrap("the socket is at 20 deg today", 19) == ["the socket is at", "20 deg today"]
    assert wrap("about 90 of 100", 8) == ["about", "90 of", "100"]
    assert wrap("", 20, "  ") == [""]
