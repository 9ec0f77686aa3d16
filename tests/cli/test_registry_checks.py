"""The verbs that check the registry and rehearse its restore, as a person types them."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pathway.cli.main import main

ON = ("--on", "2026-11-25")


@pytest.fixture
def clinic(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A registry of two children, saved by a workstation of its own."""
    monkeypatch.setenv("LIMB_PATHWAY_REGISTRY", str(tmp_path / "clinic.db"))
    monkeypatch.setenv("LIMB_PATHWAY_WORKSTATION", str(tmp_path / "own"))
    monkeypatch.setenv("COLUMNS", "80")
    assert run("import", "rowan-02", "oak-12", "--by", "first surgeon").exit_code == 0
    return tmp_path


def run(*words: str) -> Result:
    result = CliRunner().invoke(main, words if words[0] == "summary" else ["registry", *words])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def alter(file: Path, *statements: str) -> None:
    with sqlite3.connect(file) as connection:
        for statement in statements:
            connection.execute(statement)
    connection.close()


def test_the_list_says_how_old_the_newest_backup_and_the_last_rehearsal_are(clinic) -> None:
    assert "Newest backup: never made. Last drill: never held." in run("list").stderr
    assert run("backup", str(clinic / "copies.db")).exit_code == 0
    assert run("drill", str(clinic / "copies.db"), "--sample", "1", *ON).exit_code == 0
    assert "Newest backup: today. Last drill: today." in run("list").stderr


def test_a_rehearsal_says_what_it_did_and_fails_where_the_backup_does(clinic) -> None:
    (clinic / "copies").mkdir()
    run("backup", str(clinic / "copies" / "monday.db"))
    done = run("drill", str(clinic / "copies"), "--sample", "1", *ON)
    assert "2 children, 2 entries restored and verified, 1 of the children planned anew." in done.stdout
    alter(clinic / "copies" / "monday.db", "DROP TRIGGER no_update_of_entry", "UPDATE entry SET who = 'x'")
    wrong = run("drill", str(clinic / "copies"), *ON)
    assert wrong.exit_code == 1
    assert "not to be relied on" in wrong.stderr
    assert "Last drill: today, which found faults." in run("list").stderr


def test_an_older_copy_is_noted_by_every_verb_and_found_until_a_person_says_so(clinic) -> None:
    older = (clinic / "clinic.db").read_bytes()
    run("import", "elm-01")
    (clinic / "clinic.db").write_bytes(older)
    assert "has gone back to number 3" in run("list").stderr
    assert run("verify").exit_code == 1
    assert run("verify", "--from-now").exit_code == 0
    assert run("verify").exit_code == 0
    assert "gone back" not in run("list").stderr


def test_a_head_on_paper_is_what_the_summary_prints_and_verify_takes(clinic) -> None:
    from click.testing import CliRunner as Runner

    Runner().invoke(main, ["accept", "rowan-02", *ON])
    assert run("summary", "rowan-02", *ON, "-o", str(clinic / "out.md")).exit_code == 0
    text = (clinic / "out.md").read_text(encoding="utf-8")
    head = run("heads").stdout.splitlines()[0]
    shown = text.split("Registry head ")[1].split("…")[0]
    assert head.removeprefix("Registry head ").startswith(shown)
    assert run("verify", "--against", f"{shown}…").exit_code == 0
    wrong = run("verify", "--against", shown[:-3] + "000")
    assert wrong.exit_code == 1
    assert "read off paper" in wrong.stderr


def test_a_colleague_is_confirmed_and_countersigns(clinic, monkeypatch) -> None:
    monkeypatch.setenv("LIMB_PATHWAY_WORKSTATION", str(clinic / "second"))
    assert run("countersign").stdout.startswith("Countersigned: registry head 3")
    monkeypatch.setenv("LIMB_PATHWAY_WORKSTATION", str(clinic / "own"))
    told = run("verify")
    assert told.exit_code == 1
    key = told.stderr.split("unconfirmed workstation ")[1].split(",")[0]
    assert run("countersign", "--key", key).exit_code == 0
    assert run("verify").exit_code == 0


def test_every_erasure_is_named_with_who_when_and_why(clinic) -> None:
    assert run("erase", "oak-12", "--reason", "the family asked", "--yes", "--by", "registrar").exit_code == 0
    said = run("verify").stdout
    assert "oak-12: erased on 20" in said
    assert "by registrar: the family asked." in said
    assert "no erased text is left" in run("sweep").stdout


def test_an_erasure_that_somebody_reads_is_not_called_done(clinic, monkeypatch) -> None:
    from pathway.registry import erasure, sweeping

    monkeypatch.setattr(sweeping, "WAIT_SECONDS", 0.1)
    monkeypatch.setitem(erasure.erase.__kwdefaults__, "wait_seconds", 0.1)
    other = sqlite3.connect(clinic / "clinic.db", isolation_level=None)
    other.execute("BEGIN")
    other.execute("SELECT count(*) FROM entry").fetchall()
    done = run("erase", "oak-12", "--reason", "asked", "--yes")
    other.close()
    assert done.exit_code == 1
    assert "erased on" not in done.stdout
    assert "not erased from the files yet" in done.stderr


def test_a_child_whose_stored_plan_was_altered_is_due_at_once_and_planned_anew(clinic) -> None:
    run("replan", *ON)
    before = run("due", *ON).stdout
    alter(clinic / "clinic.db", "UPDATE stored_plan SET summary = '{}' WHERE child = 'rowan-02'")
    told = run("due", *ON)
    assert any("rowan-02" in line and "overdue" in line for line in told.stdout.replace("\n    ", " ").splitlines())
    assert "rowan-02" in told.stderr
    assert run("verify").exit_code == 1
    assert "Children planned: 1" in run("replan", *ON).stderr
    assert run("due", *ON).stdout == before
    assert run("verify").exit_code == 0


@pytest.mark.parametrize("column, value", [("at", "yesterday"), ("sequence", "three"), ("schema_version", "two")])
def test_a_damaged_row_is_told_in_a_sentence_by_every_verb(clinic, column, value) -> None:
    alter(
        clinic / "clinic.db",
        "DROP TRIGGER no_update_of_entry",
        f"UPDATE entry SET {column} = '{value}' WHERE child = 'oak-12'",
    )
    for words in (("verify",), ("list",), ("export", "oak-12"), ("due",), ("revisions", "oak-12"), ("heads",)):
        result = run(*words)
        assert "Traceback" not in result.output
        assert result.exit_code in (0, 1, 2)
    assert run("verify").exit_code == 1
