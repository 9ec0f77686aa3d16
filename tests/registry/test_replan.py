"""Stored plans: kept in step with entries and rules, from where an interrupted run stopped."""

from __future__ import annotations

import datetime
import os
import signal
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from pathway.children.registry_storage import RegistryStorage
from pathway.plan.earlier import earlier_of
from pathway.plan.make import make_plan
from pathway.problems import CannotBeDone
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.record import Measurement, Record, Visit
from pathway.registry import planning
from pathway.registry.journal.entry import NO_ENTRIES
from pathway.registry.journal.payloads import case_entry
from pathway.registry.planning import Task, accept, plan_task, replan, to_plan
from pathway.registry.store import Registry, open_registry
from tests.examples import ON, example

MOMENT = datetime.datetime(2026, 11, 25, 12, 0, tzinfo=datetime.UTC)
PROTOCOL = load_protocol()


def with_finding(record: Record, finding: str, value: float) -> Record:
    item = Measurement(finding=finding, side="left", value=value, method="supine_hip_film")
    more = Visit(date=datetime.date(2027, 5, 20), method="supine_hip_film", measurements=(item,))
    return record.model_copy(update={"visits": (*record.visits, more)})


def filled(file: Path, children: int) -> Registry:
    store = open_registry(str(file), create=True)
    for number in range(children):
        record = example("oak-12")
        named = record.model_copy(update={"child": record.child.model_copy(update={"id": f"oak-{number:03}"})})
        store.append(named.child.id, case_entry(named, "test"), seen=NO_ENTRIES, when=MOMENT)
    return store


def test_an_interrupted_run_goes_on_where_it_stopped(tmp_path: Path) -> None:
    with filled(tmp_path / "some.db", 6) as store, ThreadPoolExecutor(1) as executor:
        tasks = list(to_plan(store, PROTOCOL, ON))
        assert len(tasks) == 6
        running = replan(store, tasks, PROTOCOL, ON, None, executor)
        for _ in range(3):
            next(running)
        running.close()
        left = list(to_plan(store, PROTOCOL, ON))
        assert len(left) == 3
        assert [wrong for _, wrong in replan(store, left, PROTOCOL, ON, None, executor)] == ["", "", ""]
        assert list(to_plan(store, PROTOCOL, ON)) == []


def test_other_rules_or_a_day_that_the_plan_names_ask_for_a_new_plan(tmp_path: Path) -> None:
    with filled(tmp_path / "some.db", 1) as store, ThreadPoolExecutor(1) as executor:
        list(replan(store, list(to_plan(store, PROTOCOL, ON)), PROTOCOL, ON, None, executor))
        other = type(PROTOCOL)(**{**dict(PROTOCOL), "version": "9.9.9"})
        assert len(list(to_plan(store, other, ON))) == 1
        (plan,) = store.stored_plans()
        changes = datetime.date.fromisoformat(plan.summary["changes_on"])
        assert changes.month != ON.month
        assert len(list(to_plan(store, PROTOCOL, changes))) == 1
        assert list(to_plan(store, PROTOCOL, changes - datetime.timedelta(days=1))) == []
        assert len(list(to_plan(store, PROTOCOL, ON - datetime.timedelta(days=1)))) == 1


def test_a_plan_that_was_altered_is_made_again(tmp_path: Path) -> None:
    with filled(tmp_path / "some.db", 2) as store, ThreadPoolExecutor(1) as executor:
        list(replan(store, to_plan(store, PROTOCOL, ON), PROTOCOL, ON, None, executor))
        with store.writing() as connection:
            connection.exec_driver_sql("UPDATE stored_plan SET summary = '{' WHERE child = 'oak-001'")
        assert [task.child for task in to_plan(store, PROTOCOL, ON)] == ["oak-001"]
        list(replan(store, to_plan(store, PROTOCOL, ON), PROTOCOL, ON, None, executor))
        assert list(to_plan(store, PROTOCOL, ON)) == []


def test_a_child_that_cannot_be_planned_does_not_stop_the_others(tmp_path: Path) -> None:
    with filled(tmp_path / "some.db", 1) as store:
        (task,) = to_plan(store, PROTOCOL, ON)
    broken = type(task)(task.child, task.head, {**task.record, "child": {}})
    child, wrong = plan_task(broken, ON, None)
    assert child == task.child
    assert isinstance(wrong, str)


def test_the_plan_accepted_last_goes_into_the_next_one(tmp_path: Path) -> None:
    with filled(tmp_path / "some.db", 1) as store:
        record, head = store.record_and_head("oak-000")
        (task,) = to_plan(store, PROTOCOL, ON)
        assert task.earlier == ()
        plan = make_plan(Question(record, PROTOCOL, ON), compared=False)
        accept(store, "oak-000", plan, head, who="test", when=MOMENT)
        (task,) = to_plan(store, PROTOCOL, ON)
        assert task.earlier == earlier_of(plan) != ()
        child, summary = plan_task(task, ON, None)
        assert child == "oak-000"
        assert isinstance(summary, dict)
        assert summary["close_call"] is True
        storage = RegistryStorage(store, "test", lambda: MOMENT)
        assert storage.earlier("oak-000") == ()
        storage.read("oak-000")
        assert storage.earlier("oak-000") == task.earlier


def test_a_child_whose_entries_are_damaged_is_told_and_the_others_are_planned(tmp_path: Path) -> None:
    with filled(tmp_path / "some.db", 3) as store, ThreadPoolExecutor(1) as executor:
        with store.writing() as connection:
            connection.exec_driver_sql("DELETE FROM payload WHERE child = 'oak-001'")
        done = dict(replan(store, to_plan(store, PROTOCOL, ON), PROTOCOL, ON, None, executor))
        assert (done["oak-000"], done["oak-002"]) == ("", "")
        assert "registry verify" in done["oak-001"]
        assert [task.child for task in to_plan(store, PROTOCOL, ON)] == ["oak-001"]


class Counting(Executor):
    """Has each task done when it is asked how it went; keeps the most that were in hand at a time."""

    def __init__(self) -> None:
        self.in_hand = self.most = 0

    def submit(self, work: Callable[..., Any], /, *given: Any, **_: Any) -> Future[Any]:
        self.in_hand += 1
        self.most = max(self.most, self.in_hand)
        future: Future[Any] = Future()
        future.set_result(work(*given))
        return future


class Idle(Executor):
    """Takes tasks and never does one."""

    def submit(self, work: Callable[..., Any], /, *given: Any, **_: Any) -> Future[Any]:
        return Future()


class LettingGo(Idle):
    """Takes tasks and gives them up, as a cluster does whose scheduler is gone."""

    def submit(self, work: Callable[..., Any], /, *given: Any, **_: Any) -> Future[Any]:
        future: Future[Any] = Future()
        future.cancel()
        future.set_running_or_notify_cancel()
        return future


def die_at_the_third(task: Task, on: datetime.date, overlay_dir: Path | None) -> tuple[str, dict[str, Any] | str]:
    """Plan as always, until the third child kills the process."""
    if task.child == "oak-002":
        os.kill(os.getpid(), signal.SIGKILL)
    return plan_task(task, on, overlay_dir)


class TestWindow:
    def test_no_more_tasks_are_read_than_are_in_hand(self, tmp_path: Path) -> None:
        read: list[str] = []

        def telling(tasks: Iterator[Task]) -> Iterator[Task]:
            for task in tasks:
                read.append(task.child)
                yield task

        with filled(tmp_path / "some.db", 7) as store:
            counting = Counting()
            tasks = telling(to_plan(store, PROTOCOL, ON))
            for number, _ in enumerate(replan(store, tasks, PROTOCOL, ON, None, counting, window=2), 1):
                counting.in_hand -= 1
                assert len(read) <= number + 2
            assert (number, counting.most) == (7, 2)


class TestLost:
    def test_a_process_that_is_killed_is_told_and_the_next_run_goes_on(self, tmp_path: Path, monkeypatch) -> None:
        with filled(tmp_path / "some.db", 4) as store:
            monkeypatch.setattr(planning, "plan_task", die_at_the_third)
            with ProcessPoolExecutor(1) as executor, pytest.raises(CannotBeDone) as told:
                list(replan(store, to_plan(store, PROTOCOL, ON), PROTOCOL, ON, None, executor, window=1))
            assert "ended by itself" in str(told.value)
            assert "In hand were oak-002; what was planned before is kept; run it again" in str(told.value)
            assert [plan.child for plan in store.stored_plans()] == ["oak-000", "oak-001"]
            monkeypatch.undo()
            with ProcessPoolExecutor(1) as executor:
                again = list(replan(store, to_plan(store, PROTOCOL, ON), PROTOCOL, ON, None, executor))
            assert again == [("oak-002", ""), ("oak-003", "")]

    def test_nobody_at_work_is_told_when_no_plan_comes(self, tmp_path: Path) -> None:
        with filled(tmp_path / "some.db", 5) as store:
            asked = (store, to_plan(store, PROTOCOL, ON), PROTOCOL, ON, None, Idle())
            with pytest.raises(CannotBeDone, match=r"no worker is left\. In hand were .* and 2 more; .*run it again"):
                list(replan(*asked, trouble=lambda: "no worker is left", patience=0.01))

    def test_slow_work_without_trouble_is_waited_for(self, tmp_path: Path) -> None:
        asked: list[None] = []

        def trouble() -> str:
            asked.append(None)
            return "enough" if len(asked) == 3 else ""

        with filled(tmp_path / "some.db", 1) as store, pytest.raises(CannotBeDone):
            tasks = to_plan(store, PROTOCOL, ON)
            list(replan(store, tasks, PROTOCOL, ON, None, Idle(), trouble=trouble, patience=0.01))
        assert len(asked) == 3

    def test_work_that_was_let_go_of_is_told(self, tmp_path: Path) -> None:
        with filled(tmp_path / "some.db", 1) as store, pytest.raises(CannotBeDone, match="let go of their work"):
            list(replan(store, to_plan(store, PROTOCOL, ON), PROTOCOL, ON, None, LettingGo()))
