"""Stored plans: kept in step with entries and rules, from where an interrupted run stopped."""

from __future__ import annotations

import datetime
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from pathway.children.registry_storage import RegistryStorage
from pathway.plan.earlier import earlier_of
from pathway.plan.make import make_plan
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.record import Measurement, Record, Visit
from pathway.registry.journal.entry import NO_ENTRIES
from pathway.registry.journal.payloads import case_entry
from pathway.registry.planning import accept, plan_task, replan, to_plan
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


def test_other_rules_or_another_month_ask_for_a_new_plan(tmp_path: Path) -> None:
    with filled(tmp_path / "some.db", 1) as store, ThreadPoolExecutor(1) as executor:
        list(replan(store, list(to_plan(store, PROTOCOL, ON)), PROTOCOL, ON, None, executor))
        other = type(PROTOCOL)(**{**dict(PROTOCOL), "version": "9.9.9"})
        assert len(list(to_plan(store, other, ON))) == 1
        assert len(list(to_plan(store, PROTOCOL, datetime.date(2027, 1, 5)))) == 1
        assert list(to_plan(store, PROTOCOL, datetime.date(2026, 11, 26))) == []


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
