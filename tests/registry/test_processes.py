"""Processes that are killed lose nothing that was reported saved; processes that write together lose nothing at all."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from pathway.registry.store import open_registry
from pathway.registry.verifying import verify

ROOT = Path(__file__).parents[2]
KILLS, PROCESSES, EACH, CHILDREN = 200, 8, 250, 20
KILLS_ON_SERVER = 50

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork: no test with processes")


def ran(*command: object) -> subprocess.CompletedProcess[str]:
    words = [sys.executable, *map(str, command)]
    return subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=False)


def run(module: str, *arguments: object):
    done = ran("-m", f"tests.registry.{module}", *arguments)
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    if isinstance(found, dict) and found.get("half_made"):
        print(done.stderr)
    return found


def test_a_process_killed_at_any_moment_loses_nothing_that_was_reported_saved(address) -> None:
    # A file is killed as often as it takes to hit every moment; the server's own log is not ours to prove.
    kills = KILLS_ON_SERVER if address.startswith("postgresql") else KILLS
    found = run("crash", address, kills, 7)
    assert found["killed"] == kills
    assert found["reported"] > kills, "most children live long enough to save something"
    assert found["silent"] > 0, "some are killed before they save anything"
    assert found["faults"] == []
    assert found["lost"] == []
    assert found["halves"] == [], "entries saved together are there together"
    assert found.get("half_made", []) == []


def test_processes_that_append_to_the_same_children_lose_and_double_nothing(address) -> None:
    told = run("writers", address, PROCESSES, EACH)
    saved = [tuple(one) for writer in told for one in writer["saved"]]
    assert len(saved) == PROCESSES * EACH == 2000
    assert len({(child, sequence) for child, sequence, _ in saved}) == len(saved), "no number was given twice"
    assert sum(writer["conflicts"] for writer in told) > 0, "conflicts are reported, not swallowed"
    with open_registry(address) as registry:
        found = verify(registry)
        kept = [
            (line.child, entry.sequence, entry.payload["decision"]["reason"])
            for line in registry.children()
            for entry in registry.entries(line.child)[1:]
        ]
    assert found.faults == ()
    assert found.entries == len(saved) + CHILDREN
    assert sorted(kept) == sorted(saved)


BROKEN = {
    "a writer": "writers.write = fails; writers.main(sys.argv[1], 2, 1)",
    "a child that is to be killed": "crash.append_for_ever = fails; crash.one_round(sys.argv[1], 0.5, 0)",
}


@pytest.mark.parametrize("program", BROKEN.values(), ids=BROKEN)
def test_a_process_that_fails_shows_its_traceback(program, tmp_path) -> None:
    head = "import sys\nfrom tests.registry import crash, writers\ndef fails(*_): raise RuntimeError('disk is full')\n"
    done = ran("-c", head + program, tmp_path / "clinic.db")
    assert done.returncode != 0
    assert "in fails" in done.stderr
    assert "RuntimeError: disk is full" in done.stderr
