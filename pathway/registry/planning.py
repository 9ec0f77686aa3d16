"""Planning what the registry holds: stored plans kept in step on every core, follow-ups saved, plans accepted."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor, as_completed
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pathway.due import plan_summary
from pathway.plan import make_plan
from pathway.plan_model import Plan
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from pathway.record import Decision, Record, Visit
from pathway.registry.entry import Entry, Head, NewEntry, Overtaken, Saved, StoredPlan
from pathway.registry.fold import parts_of
from pathway.registry.payloads import (
    Revision,
    calendar_entry,
    case_entry,
    correction_entry,
    decision_entry,
    operation_entry,
    revision_entry,
    visit_entry,
)
from pathway.registry.store import Registry

BATCH = 64
"""How many plans are stored together: what an interrupted run has lost at most."""
CORRECTED = "completed at a follow-up"


@dataclass(frozen=True, slots=True)
class Task:
    """One child to plan: plain data, so that it can be planned in another process or on another machine."""

    child: str
    head: Head
    record: dict[str, Any]


def protocol_digest(protocol: Protocol) -> str:
    """Return a digest of all rules: two protocols with the same one plan alike."""
    return hashlib.sha256(protocol.model_dump_json().encode()).hexdigest()


def to_plan(registry: Registry, protocol: Protocol, on: datetime.date, *, every: bool = False) -> Iterator[Task]:
    """Yield the children whose stored plan is missing or not true any more: entries, rules or the month changed."""
    digest, stored = protocol_digest(protocol), {plan.child: plan for plan in registry.stored_plans()}
    for line in registry.children():
        plan = stored.get(line.child)
        fresh = plan is not None and plan.head == line.head and plan.protocol_digest == digest
        if line.erased is None and (every or not fresh or (plan is not None and _month(plan.on) != _month(on))):
            record, head = registry.record_and_head(line.child)
            yield Task(line.child, head, record.model_dump(mode="json"))


def plan_task(task: Task, on: datetime.date, clinic: Path | None) -> tuple[str, dict[str, Any] | str]:
    """Return the child and the summary of its plan, or why it could not be planned. Runs in any process."""
    protocol = _rules(clinic)
    try:
        record = Record.model_validate(task.record)
        plan = make_plan(record, protocol, on, chances=False)
    except Exception as error:  # one child that fails must not stop the thousand others; it is told by name
        return task.child, f"{type(error).__name__}: {error}"
    return task.child, plan_summary(plan, record, protocol)


_loaded: dict[Path | None, Protocol] = {}


def _rules(clinic: Path | None) -> Protocol:
    if clinic not in _loaded:
        _loaded[clinic] = load_protocol() if clinic is None else load_protocol(clinic)
    return _loaded[clinic]


def replan(
    registry: Registry,
    tasks: Sequence[Task],
    protocol: Protocol,
    on: datetime.date,
    clinic: Path | None,
    executor: Executor,
) -> Iterator[tuple[str, str]]:
    """Plan the tasks on an executor and store the plans as they come; yields each child with "" or what went wrong.

    What is stored stays stored when the run is interrupted: the next one goes on from there.
    """
    digest, heads = protocol_digest(protocol), {task.child: task.head for task in tasks}
    ready: list[StoredPlan] = []
    running = [executor.submit(plan_task, task, on, clinic) for task in tasks]
    try:
        for future in as_completed(running):
            child, summary = future.result()
            if isinstance(summary, str):
                yield child, summary
                continue
            ready.append(StoredPlan(child, heads[child], protocol.version, digest, on, summary))
            if len(ready) >= BATCH:
                registry.store_plans(ready)
                ready = []
            yield child, ""
    finally:
        for future in running:
            future.cancel()
        registry.store_plans(ready)


def save_followup(
    registry: Registry, known: Record, wanted: Record, seen: Head, *, who: str, when: datetime.datetime
) -> Saved | Overtaken:
    """Keep what `wanted` has more than `known`, which was read at `seen`; a visit that was added to is corrected."""
    entries = registry.entries(known.child.id)
    news = tuple(_news(entries, known, wanted, who))
    return registry.append(known.child.id, news, seen=seen, when=when)


def accept(
    registry: Registry,
    child: str,
    plan: Plan,
    seen: Head,
    *,
    who: str,
    when: datetime.datetime,
    reason: str = "",
    choice: Decision | None = None,
) -> Saved | Overtaken:
    """Keep a plan as a revision; with `choice` the decision for another course goes in together with it."""
    kept = Revision(
        plan=plan.model_dump(mode="json"),
        on=plan.on,
        protocol_version=plan.protocol.version,
        recommended=choice is None,
        reason=reason,
    )
    news = [revision_entry(kept, who)]
    if choice is not None:
        news.insert(0, decision_entry(choice, who))
    return registry.append(child, news, seen=seen, when=when)


def _news(entries: Sequence[Entry], known: Record, wanted: Record, who: str) -> Iterator[NewEntry]:
    if known.child != wanted.child:
        yield case_entry(wanted, who)
        return
    own = {part.content.date: part.sequence for part in parts_of(entries) if isinstance(part.content, Visit)}
    days = {visit.date: visit for visit in known.visits}
    changed = [visit for visit in wanted.visits if visit.date in days and visit != days[visit.date]]
    if any(visit.date not in own for visit in changed):
        # The visit lies inside a case that was taken in whole: the whole is taken in again, the old one stays readable.
        yield case_entry(wanted, who)
        return
    for visit in wanted.visits:
        if visit.date not in days:
            yield visit_entry(visit, who)
    for visit in changed:
        yield correction_entry(own[visit.date], visit, CORRECTED, who)
    for operation in wanted.operations:
        if operation not in known.operations:
            yield operation_entry(operation, who)
    for decision in wanted.decisions:
        if decision not in known.decisions:
            yield decision_entry(decision, who)
    if known.calendar != wanted.calendar:
        yield calendar_entry(wanted.calendar, who)


def _month(day: datetime.date) -> tuple[int, int]:
    return day.year, day.month
