"""The verbs that write files for other programs: exit codes, sentences, whole files or none, one line a child."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pathway.children import case_files, papers
from pathway.children.resolve import RegistryAt
from pathway.cli import exports as cli_exports
from pathway.cli.main import main
from pathway.protocol.load import load_protocol
from tests.examples import FILES, NAMES, ON
from tests.exports.made import R4, STAMP, events, uid

WHEN = ("--on", "2026-11-25", "--stamp", "2026-11-25T08:00:00Z")


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, [*arguments])


def test_the_calendar_is_printed_or_written_the_same(tmp_path: Path) -> None:
    printed = run("calendar", "rowan-02", *WHEN)
    assert printed.exit_code == 0, printed.output
    out = tmp_path / "out.ics"
    written = run("calendar", "rowan-02", *WHEN, "-o", str(out))
    assert (written.exit_code, written.stdout) == (0, "")
    assert out.read_bytes() == printed.stdout_bytes
    assert [path.name for path in tmp_path.iterdir()] == ["out.ics"]
    text = out.read_bytes().replace(b"\r\n ", b"").decode()
    assert "X-WR-CALDESC:Planning aid: the treating surgeon decides" in text


def test_the_days_of_a_lengthening_come_when_asked_for() -> None:
    plain = events(run("calendar", "rowan-02", *WHEN).stdout_bytes)
    whole = events(run("calendar", "rowan-02", *WHEN, "--lengthening", "femoral_lengthening_2").stdout_bytes)
    assert plain.keys() < whole.keys()
    sheet = json.loads(
        run(
            "worksheet", "lengthening", "rowan-02", "--on", "2026-11-25", "--stage", "femoral_lengthening_2", "--json"
        ).stdout
    )
    rows = next(s for s in sheet["sections"] if s["title"] == "Calendar of turns")["tables"][0]["rows"]
    for number, day, turns, mm, *_ in rows:
        event = whole[uid("rowan-02", f"femoral_lengthening_2/turn/{number}")]
        assert event.dtstart.value.isoformat() == day
        assert event.summary.value.startswith(f"rowan-02: {turns} turns, {mm:g} mm")


def test_a_revised_plan_replaces_the_file_sent_before(tmp_path: Path) -> None:
    first, second = tmp_path / "a.ics", tmp_path / "b.ics"
    assert run("calendar", "rowan-02", *WHEN, "-o", str(first)).exit_code == 0
    again = run("calendar", "rowan-02", "--on", "2027-06-01", "--previous", str(first), "-o", str(second))
    assert again.exit_code == 0, again.output
    old, new = events(first.read_bytes()), events(second.read_bytes())
    moved = [key for key in old.keys() & new.keys() if old[key].dtstart.value != new[key].dtstart.value]
    assert moved
    assert all(int(new[key].sequence.value) > int(old[key].sequence.value) for key in moved)
    same = run("calendar", "rowan-02", *WHEN, "--previous", str(first))
    assert same.stdout_bytes == first.read_bytes()


@pytest.mark.parametrize("name", NAMES)
def test_a_document_of_every_example_child_holds_by_the_standards_schema(name: str) -> None:
    done = run("fhir", name, *WHEN)
    assert done.exit_code == 0, done.output
    found = json.loads(done.stdout)
    assert not list(R4.iter_errors(found))
    assert found["timestamp"] == "2026-11-25T08:00:00Z"


def test_several_children_make_one_line_each(tmp_path: Path) -> None:
    out = tmp_path / "all.ndjson"
    done = run("fhir", "rowan-02", "oak-12", "--ndjson", *WHEN, "-o", str(out))
    assert done.exit_code == 0, done.output
    lines = [json.loads(line) for line in out.read_text(encoding="utf-8").splitlines()]
    assert [line["entry"][1]["resource"]["identifier"][0]["value"] for line in lines] == ["rowan-02", "oak-12"]


def test_a_case_that_fails_is_named_and_the_others_are_written(tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text("schema_version = 1\n", encoding="utf-8")
    done = run("fhir", "rowan-02", str(bad), "none.toml", "oak-12", "--ndjson", *WHEN)
    assert done.exit_code == 2
    assert len(done.stdout.splitlines()) == 2
    assert "bad.toml" in done.stderr and "none.toml" in done.stderr
    assert "2 of 4 case files produced no document" in done.stderr


def test_children_stream_one_is_out_before_the_next_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    read: list[str] = []

    def reading(path: Path) -> str:
        read.append(path.stem)
        return path.read_text(encoding="utf-8")

    monkeypatch.setattr(case_files, "text_of", reading)
    lines: Iterator[bytes] = cli_exports._lines(FILES[:3], load_protocol(), ON, STAMP, [], RegistryAt())
    next(lines)
    assert read == [FILES[0].stem]
    next(lines)
    assert read == [FILES[0].stem, FILES[1].stem]


def test_the_rules_are_written_as_plan_definitions(tmp_path: Path) -> None:
    out = tmp_path / "rules.json"
    assert run("rules", "export", "-o", str(out)).exit_code == 0
    found = json.loads(out.read_text(encoding="utf-8"))
    assert {entry["resource"]["resourceType"] for entry in found["entry"]} == {"PlanDefinition"}


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("calendar", "none.toml"), 2, "found no such file, expected a case file"),
        (("calendar", "rowan-02", "--lengthening", "femoral_lengthning_1"), 2, "did you mean femoral_lengthening_1"),
        (("calendar", "rowan-02", "--previous", "none.ics"), 2, "expected the calendar that was sent before"),
        (("calendar", "elm-01", "--on", "2047-11-25"), 1, "no stage of the plan has a date"),
        (("calendar", "rowan-02", "-o", "/none/such/out.ics"), 2, "found no such folder"),
        (("fhir", "rowan-02", "oak-12"), 2, "found 2 case files, expected one; add --ndjson"),
        (("fhir", "none.toml"), 2, "found no such file, expected a case file"),
    ],
)
def test_what_cannot_be_done_is_said_in_a_sentence(arguments: tuple[str, ...], code: int, said: str) -> None:
    done = run(*arguments, *(() if "--on" in arguments else WHEN))
    assert done.exit_code == code
    assert said in done.stderr
    assert "Traceback" not in done.output


def test_without_the_extra_the_verb_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "fhir", None)
    monkeypatch.setattr(papers.util, "find_spec", lambda name: None)
    done = run("fhir", "rowan-02", *WHEN)
    assert done.exit_code == 2
    assert "pip install 'limb-pathway[fhir]'" in done.stderr


def test_an_old_file_stays_whole_when_the_new_one_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = tmp_path / "all.ndjson"
    old = '{"resourceType": "Bundle", "identifier": {"system": "https://limb-pathway.invalid"}, "type": "Composition"}'
    out.write_text(old, encoding="utf-8")

    def failing(*_: object) -> str:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(papers, "record_document", failing)
    done = run("fhir", "rowan-02", "--ndjson", *WHEN, "-o", str(out))
    assert done.exit_code == 2
    assert "No space left on device" in done.stderr
    assert out.read_text(encoding="utf-8") == old
    assert [path.name for path in tmp_path.iterdir()] == ["all.ndjson"]


def test_on_a_terminal_a_bar_shows_the_progress_and_the_lines_stay_clean() -> None:
    pty = pytest.importorskip("pty", reason="no pseudo-terminals on this system")
    screen, terminal = pty.openpty()
    command = [sys.executable, "-m", "pathway", "fhir", "rowan-02", "oak-12", "--ndjson", *WHEN]
    done = subprocess.run(command, stdout=subprocess.PIPE, stderr=terminal, check=False)
    shown = os.read(screen, 100_000).decode()
    os.close(terminal)
    os.close(screen)
    assert done.returncode == 0, shown
    assert "Planning" in shown and "100%" in shown
    assert len([json.loads(line) for line in done.stdout.splitlines()]) == 2
