"""What leaves by a verb's -o: for the owner alone, over nothing of somebody's, and nothing unseen on the terminal."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from pathway.casefile import case_text
from pathway.cli.main import main
from pathway.plain_text import hidden_in
from tests.examples import ON, SIZES
from tests.questions.test_achieved import AFTER, film, sheet, with_films

LATER = "2045-01-01"
WRITING: dict[str, tuple[list[str], str]] = {
    "new": (["new", "pine-01", "--on", str(ON)], "pine-01.toml"),
    "calendar": (["calendar", "rowan-02", "--on", str(ON)], "plan.ics"),
    "fhir": (["fhir", "rowan-02", "--on", str(ON)], "plan.json"),
    "rules export": (["rules", "export"], "rules.json"),
    "rules sources": (["rules", "sources"], "sources.bib"),
    "rules holidays": (["rules", "holidays", "DE-BY", "--on", str(ON)], "holidays.toml"),
    "handout": (["handout", "rowan-02", "--on", str(ON)], "handout.pdf"),
    "summary": (["summary", "rowan-02", "--on", str(ON)], "summary.md"),
    "theatre": (["theatre", "rowan-02", "--on", str(ON), *SIZES], "theatre.pdf"),
    "picture": (["picture", "timeline", "rowan-02", "--on", str(ON)], "timeline.png"),
    "registry export": (["registry", "export", "rowan-02"], "child.toml"),
    "registry heads": (["registry", "heads"], "heads.json"),
    "registry backup": (["registry", "backup"], "backup.db"),
    "registry achieved": (["registry", "achieved", "--on", LATER], "errors.toml"),
    "registry results": (["registry", "results", "--on", LATER], "results.pdf"),
    "registry table": (["registry", "table", "visits"], "visits.csv"),
}
BESIDE = {"registry table": ["visits.schema.json"]}
"""What a verb writes beside its file."""
REPLACES = (
    *("calendar", "fhir", "rules export", "handout", "summary", "theatre", "picture"),
    *("registry achieved", "registry results"),
)
CASE = b'schema_version = 1\n[child]\nid = "mine"\n'


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest) -> Path:
    """Return an empty folder; the registry beside it holds a child."""
    monkeypatch.setenv("LIMB_PATHWAY_REGISTRY", str(tmp_path / "clinic.db"))
    assert CliRunner().invoke(main, ["registry", "import", "rowan-02"]).exit_code == 0
    if "verb" in request.fixturenames and request.getfixturevalue("verb") == "registry achieved":
        with_osteotomies(tmp_path)
    out = tmp_path / "out"
    out.mkdir()
    return out


def with_osteotomies(folder: Path) -> None:
    """Take three children into the registry whose osteotomies have their sheet and a film after."""
    files = []
    for number in range(3):
        record = with_films(sheet(), (AFTER, film(120 + number, 20)))
        child = record.child.model_copy(update={"id": f"oak-{number}"})
        files.append(folder / f"oak-{number}.case")
        files[-1].write_text(case_text(record.model_copy(update={"child": child})), encoding="utf-8")
    taken = CliRunner().invoke(main, ["registry", "import", *map(str, files), "--on", LATER])
    assert taken.exit_code == 0, taken.output


def run(verb: str, file: Path, *more: str) -> Result:
    words = WRITING[verb][0]
    target = [str(file)] if verb == "registry backup" else ["-o", str(file)]
    result = CliRunner().invoke(main, [*words, *target, *more])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def all_verbs(group: click.Group, before: tuple[str, ...] = ()) -> Iterator[tuple[str, click.Command]]:
    for name, command in group.commands.items():
        if isinstance(command, click.Group):
            yield from all_verbs(command, (*before, name))
        else:
            yield " ".join((*before, name)), command


def test_every_verb_that_writes_is_tried_here_and_calls_its_file_alike() -> None:
    writing = {
        name
        for name, command in all_verbs(main)
        for option in command.params
        if isinstance(option, click.Option) and {"-o", "--output", "--out"} & {*option.opts, *option.secondary_opts}
    }
    assert writing | {"registry backup"} == set(WRITING)
    for name, command in all_verbs(main):
        named = [option.opts for option in command.params if "-o" in option.opts]
        assert named in ([], [["-o", "--output"]]), name


@pytest.mark.parametrize("verb", WRITING)
def test_what_is_written_is_for_its_owner_alone_and_said(verb: str, place: Path) -> None:
    file = place / WRITING[verb][1]
    result = run(verb, file)
    assert result.exit_code == 0, result.output
    assert file.stat().st_mode & 0o777 == 0o600
    assert str(file) in result.output
    names = [file.name, *BESIDE.get(verb, [])]
    assert sorted(one.name for one in place.iterdir()) == sorted(names)
    assert all((place / name).stat().st_mode & 0o777 == 0o600 for name in names)


@pytest.mark.parametrize("verb", WRITING)
@pytest.mark.parametrize("more", [(), ("--replace",)])
def test_a_case_file_a_registry_and_a_key_stay(verb: str, more: tuple[str, ...], place: Path) -> None:
    if more and verb not in REPLACES:
        pytest.skip(f"{verb} replaces nothing at all")
    registry = place.parent / "clinic.db"
    ending = Path(WRITING[verb][1]).suffix
    case = place / f"mine{ending}"
    case.write_bytes(CASE)
    before = registry.read_bytes()
    database = place / f"registry{ending}"
    database.write_bytes(before)
    for file, held in ((case, CASE), (database, before)):
        result = run(verb, file, *more)
        assert result.exit_code == 2, result.output
        assert file.read_bytes() == held
    assert registry.read_bytes() == before


@pytest.mark.parametrize("verb", ["handout", "calendar"])
def test_the_key_of_the_registry_stays(verb: str, place: Path) -> None:
    key = place / f"key{Path(WRITING[verb][1]).suffix}"
    key.write_text("secret\n", encoding="utf-8")
    result = run(verb, key, "--key-file", str(key), "--registry", str(place / "none.db"), "--replace")
    assert result.exit_code == 2
    assert key.read_text(encoding="utf-8") == "secret\n"


def test_the_only_case_file_of_a_child_survives_a_slip(place: Path) -> None:
    mine = place / "mine.toml"
    text = (Path(__file__).parents[2] / "example_patients" / "rowan-02.toml").read_bytes()
    mine.write_bytes(text)
    result = CliRunner().invoke(main, ["calendar", str(mine), "-o", str(mine), "--on", str(ON), "--replace"])
    assert result.exit_code == 2
    assert "found what this is read from" in result.stderr
    assert mine.read_bytes() == text


@pytest.mark.parametrize("verb", REPLACES)
def test_an_earlier_output_is_replaced_and_another_file_only_when_asked(verb: str, place: Path) -> None:
    file = place / WRITING[verb][1]
    assert run(verb, file).exit_code == 0
    first = file.read_bytes()
    assert run(verb, file).exit_code == 0
    file.write_bytes(b"a letter")
    assert run(verb, file).exit_code == 2
    assert file.read_bytes() == b"a letter"
    assert run(verb, file, "--replace", "--shared").exit_code == 0
    assert file.stat().st_mode & 0o777 == 0o644
    assert len(file.read_bytes()) > len(first) / 2


@pytest.mark.parametrize("verb", ["registry export", "registry heads", "registry backup", "registry table"])
def test_what_must_be_new_is_put_over_nothing(verb: str, place: Path) -> None:
    file = place / WRITING[verb][1]
    assert run(verb, file).exit_code == 0
    before = file.read_bytes()
    assert run(verb, file).exit_code == 2
    assert file.read_bytes() == before


EVIL = "\x1b]0;owned\x07\x1b[2J\u202etxt.exe\x9b31m"


@pytest.mark.parametrize(
    "words",
    [
        ["plan", EVIL],
        ["why", "rowan-02", EVIL],
        ["calendar", "rowan-02", "--lengthening", EVIL],
        ["rules", "show", EVIL],
        ["rules", "list", "--kind", EVIL],
        ["rules", "overlay", EVIL],
        ["registry", "import", EVIL],
        ["registry", "export", EVIL],
        ["registry", "erase", "rowan-02", "--reason", EVIL, "--yes"],
        ["registry", "import", "oak-12", "--by", EVIL],
        ["followup", "rowan-02", "--set", f"left.{EVIL}=1", "--discard"],
        ["followup", "rowan-02", "--decline", "growth_arrest", "--reason", EVIL, "--discard"],
        ["compare", f"{EVIL}@1", f"{EVIL}@2"],
        ["handout", "rowan-02", "-o", EVIL],
        ["handout", "rowan-02", "-o", "x.pdf", "--language", EVIL],
        ["worksheet", "lengthening", "rowan-02", "--set", EVIL],
    ],
    ids=lambda words: " ".join(words).replace(EVIL, "EVIL").replace(EVIL, "EVIL"),
)
def test_a_word_that_steers_a_terminal_is_shown_and_not_sent(words: list[str], place: Path) -> None:
    result = CliRunner().invoke(main, words)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert hidden_in(result.stdout) is None
    assert hidden_in(result.stderr) is None


def test_the_sheet_for_reviewing_strange_rules_shows_what_they_hide(place: Path) -> None:
    rules = place / "theirs"
    rules.mkdir()
    text = '[[gate]]\nid = "femoral_lengthening.therapy_ready"\noff = true\nbecause = "Always\\u001b[2J."\n'
    (rules / "own.toml").write_text(text, encoding="utf-8")
    result = CliRunner().invoke(main, ["rules", "overlay", str(rules)])
    assert result.exit_code == 2
    assert "a character that nobody sees (U+001B)" in result.stderr
    assert hidden_in(result.output) is None
