"""An erasure is only called done when no text is left in the files, and can be finished later."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

from pathway.registry import sweeping
from pathway.registry.address import drafts_in
from pathway.registry.copies import back_up
from pathway.registry.db.engine import WAIT_SECONDS
from pathway.registry.erasure import erase
from pathway.registry.journal.payloads import decision_entry
from pathway.registry.store import open_registry
from pathway.registry.sweeping import sweep
from pathway.registry.verifying import verify
from tests.registry.keeping import WHEN, keep, wish

NAME, SECRET = "maple-01", "a very telling remark"
SHORT = 0.2


@pytest.fixture
def registry(tmp_path):
    with open_registry(str(tmp_path / "registry.db"), create=True) as registry:
        keep(registry, NAME, decision_entry(wish(SECRET), "nurse"))
        yield registry


def text_in(folder: Path) -> bool:
    return any(SECRET.encode() in path.read_bytes() for path in folder.iterdir() if path.is_file())


def reader(file: Path) -> sqlite3.Connection:
    """Return a connection that holds one state of the registry, as a list that is open on a screen does."""
    other = sqlite3.connect(file, isolation_level=None)
    other.execute("BEGIN")
    other.execute("SELECT count(*) FROM entry").fetchall()
    return other


def again(registry, **more: object):
    return sweep(registry, who="registrar", when=WHEN, wait_seconds=SHORT, **more)


def test_it_is_not_called_done_while_somebody_reads_and_is_finished_later(registry, tmp_path) -> None:
    other = reader(tmp_path / "registry.db")
    done = erase(registry, NAME, reason="asked", who="registrar", when=WHEN, wait_seconds=SHORT)
    assert not done.swept.done
    assert "Erased text may still lie in" in done.swept.left[0]
    assert text_in(tmp_path), "it says so because it is so"
    assert any("may still lie" in one.sentence for one in verify(registry).remarks)
    assert not again(registry).done
    other.close()
    assert again(registry).done
    assert not text_in(tmp_path)
    assert verify(registry).remarks == ()


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="this system does not tell who holds a file")
def test_the_program_that_is_in_the_way_is_named(registry, tmp_path) -> None:
    code = (
        "import sqlite3, sys; c = sqlite3.connect(sys.argv[1], isolation_level=None); c.execute('BEGIN');"
        "c.execute('SELECT count(*) FROM entry').fetchall(); print('reads', flush=True); sys.stdin.read()"
    )
    command = [sys.executable, "-c", code, str(tmp_path / "registry.db")]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other:
        assert other.stdout.readline() == b"reads\n"
        done = erase(registry, NAME, reason="asked", who="registrar", when=WHEN, wait_seconds=SHORT)
        assert f"(process {other.pid})" in done.swept.left[0]
        other.stdin.close()
    assert again(registry).done


def test_a_text_that_came_back_after_the_erasure_is_taken_out(registry, tmp_path) -> None:
    erase(registry, NAME, reason="asked", who="registrar", when=WHEN)
    with sqlite3.connect(tmp_path / "registry.db") as connection:
        connection.execute("INSERT INTO payload VALUES (?, 1, '00', ?)", (NAME, SECRET))
    connection.close()
    assert verify(registry).faults != ()
    assert again(registry).done
    assert verify(registry).faults == ()
    assert not text_in(tmp_path)


def test_a_registry_without_erased_children_is_swept_without_a_trace(registry) -> None:
    before = registry.signed_head()
    assert again(registry).done
    assert registry.signed_head() == before


def test_drafts_of_killed_programs_are_named_and_removed_and_those_of_running_ones_are_not(registry, tmp_path) -> None:
    ended = subprocess.Popen([sys.executable, "-c", ""])
    ended.wait()
    left = tmp_path / f".backup.db.{ended.pid}-0123456789ab.new"
    for end in ("", "-wal"):
        left.with_name(left.name + end).write_text(SECRET)
    running = tmp_path / f".other.db.{os.getpid()}-0123456789ab.new"
    running.write_text("mine")
    other = tmp_path / ".something.new"
    other.write_text("of somebody else")
    assert drafts_in(tmp_path) == (left, left.with_name(left.name + "-wal"))
    assert again(registry).removed == (str(left), f"{left}-wal")
    assert running.exists()
    assert other.exists()


def test_drafts_beside_backups_are_removed_from_the_folders_that_are_named(registry, tmp_path) -> None:
    back_up(registry, tmp_path / "copies" / "backup.db")
    left = tmp_path / "copies" / ".backup.db.999999999-0123456789ab.new"
    left.write_text(SECRET)
    assert again(registry, folders=[tmp_path / "copies"]).removed == (str(left),)
    assert [path.name for path in (tmp_path / "copies").iterdir()] == ["backup.db"]


def test_a_sweep_does_not_wait_longer_than_a_save(registry) -> None:
    assert sweeping.WAIT_SECONDS < WAIT_SECONDS


@pytest.mark.parametrize("table", ["entry", "payload"])
def test_on_a_server_it_is_not_called_done_while_somebody_sees_an_older_state(database, table) -> None:
    engine = create_engine(database.replace("postgresql", "postgresql+psycopg"), isolation_level="REPEATABLE READ")
    with open_registry(database, create=True) as registry:
        keep(registry, NAME, decision_entry(wish(SECRET), "nurse"))
        with engine.connect() as other:
            other.execute(text(f"SELECT count(*) FROM {table}"))
            done = erase(registry, NAME, reason="asked", who="registrar", when=WHEN, wait_seconds=SHORT)
            assert not done.swept.done
            assert "may still lie in" in done.swept.left[0]
        assert again(registry).done
        assert verify(registry).remarks == ()
    engine.dispose()
