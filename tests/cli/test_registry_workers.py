"""A cluster that plans: it is used, and told in a sentence when its workers or its scheduler are gone."""

from __future__ import annotations

import importlib
import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from pathway.cli.registry.workers import Workers, workers
from pathway.problems import CannotBeDone
from pathway.protocol.load import load_protocol
from pathway.registry.planning import replan, to_plan
from tests.examples import ON
from tests.registry.test_replan import filled

ROOT = Path(__file__).parents[2]
PROTOCOL = load_protocol()
CHILDREN = 5


class Cluster:
    """A scheduler on this machine and its workers, each a process of its own."""

    def __init__(self, folder: Path, stack: ExitStack, number: int = 1) -> None:
        self.file, self.stack = folder / "scheduler.json", stack
        place = ("--host", "127.0.0.1", "--port", "0", "--no-dashboard")
        self.scheduler = self._started("distributed.cli.dask_scheduler", *place)
        self.address = self._address()
        one = ("--no-nanny", "--nthreads", "1", "--no-dashboard", "--local-directory", str(folder))
        self.workers = [self._started("distributed.cli.dask_worker", *one) for _ in range(number)]
        self.worker = self.workers[0]

    def _started(self, module: str, *words: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", module, "--scheduler-file", str(self.file), *words]
        around = {**os.environ, "PYTHONPATH": str(ROOT)}
        quiet = subprocess.DEVNULL
        started = self.stack.enter_context(subprocess.Popen(command, stdout=quiet, stderr=quiet, env=around, cwd=ROOT))
        self.stack.callback(started.kill)
        return started

    def _address(self) -> str:
        for _ in range(600):
            if self.file.exists() and (text := self.file.read_text(encoding="utf-8")).endswith("}"):
                return str(json.loads(text)["address"])
            time.sleep(0.1)
        pytest.fail("the scheduler did not start")


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[Cluster]:
    pytest.importorskip("distributed", reason="dask.distributed is not installed: no test on a cluster")
    with ExitStack() as stack:
        yield Cluster(tmp_path, stack)


@pytest.fixture
def two(tmp_path: Path) -> Iterator[Cluster]:
    """Yield a cluster with two workers, both of them there."""
    distributed = pytest.importorskip("distributed", reason="dask.distributed is not installed: no test on a cluster")
    with ExitStack() as stack:
        cluster = Cluster(tmp_path, stack, number=2)
        with distributed.Client(cluster.address) as client:
            client.wait_for_workers(2, timeout=60)
        yield cluster


def until_there(at_work: Workers) -> None:
    """Wait for the first worker."""
    for _ in range(600):
        if not at_work.trouble():
            return
        time.sleep(0.1)
    pytest.fail(at_work.trouble())


@pytest.mark.parametrize(
    ("lost", "words"),
    [("scheduler", "the scheduler at tcp://"), ("worker", "no worker is left at the scheduler tcp://")],
)
def test_what_is_lost_is_told_and_the_next_run_goes_on_from_there(cluster, lost, words, tmp_path, capfd) -> None:
    with filled(tmp_path / "some.db", CHILDREN) as store:
        with pytest.raises(CannotBeDone) as told, workers(cluster.address) as at_work:
            until_there(at_work)
            asked = (store, to_plan(store, PROTOCOL, ON), PROTOCOL, ON, None, at_work.executor)
            for _ in replan(*asked, trouble=at_work.trouble, patience=2, window=2):
                getattr(cluster, lost).kill()
        assert words in str(told.value)
        assert "what was planned before is kept; run it again to go on from there" in str(told.value)
        kept = len(store.stored_plans())
        assert 1 <= kept < CHILDREN
        assert len(list(to_plan(store, PROTOCOL, ON))) == CHILDREN - kept
        with workers(None) as at_work:
            rest = list(replan(store, to_plan(store, PROTOCOL, ON), PROTOCOL, ON, None, at_work.executor))
        assert [wrong for _, wrong in rest] == [""] * (CHILDREN - kept)
    assert "Traceback" not in capfd.readouterr().err


def test_a_cluster_plans_every_child(cluster, tmp_path) -> None:
    with filled(tmp_path / "some.db", 2) as store, workers(cluster.address) as at_work:
        asked = (store, to_plan(store, PROTOCOL, ON), PROTOCOL, ON, None, at_work.executor)
        until_there(at_work)
        done = list(replan(*asked, trouble=at_work.trouble))
        assert sorted(done) == [("oak-000", ""), ("oak-001", "")]
        assert list(to_plan(store, PROTOCOL, ON)) == []


def test_two_workers_share_the_children(two, tmp_path) -> None:
    distributed = importlib.import_module("distributed")
    with filled(tmp_path / "some.db", CHILDREN) as store, workers(two.address) as at_work:
        asked = (store, to_plan(store, PROTOCOL, ON), PROTOCOL, ON, None, at_work.executor)
        with distributed.Client(two.address) as looking:
            before = looking.run(tasks_done)
            done = dict(replan(*asked, trouble=at_work.trouble))
            after = looking.run(tasks_done)
        assert list(done.values()) == [""] * CHILDREN
        assert list(to_plan(store, PROTOCOL, ON)) == []
    assert len(after) == 2
    assert all(after[worker] > before[worker] for worker in after), (before, after)


def test_the_worker_that_is_left_plans_for_both(two, tmp_path) -> None:
    with filled(tmp_path / "some.db", CHILDREN) as store, workers(two.address) as at_work:
        asked = (store, to_plan(store, PROTOCOL, ON), PROTOCOL, ON, None, at_work.executor)
        done = {}
        for child, wrong in replan(*asked, trouble=at_work.trouble):
            done[child] = wrong
            two.worker.kill()
        assert list(done.values()) == [""] * CHILDREN
        assert list(to_plan(store, PROTOCOL, ON)) == []


def tasks_done(dask_worker: Any) -> int:
    """Return how many tasks a worker has finished; run on each of them."""
    return int(dask_worker.state.executed_count)
