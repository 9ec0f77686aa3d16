"""Planning what the registry holds: stored plans kept in step on every core, follow-ups saved, plans accepted."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor, as_completed
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pathway.events import Event, rebase
from pathway.files.rules import rules_folder
from pathway.plan.make import make_plan
from pathway.plan.model import Plan
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.question import EarlierOperation, Question
from pathway.questions.due import plan_summary
from pathway.record import Decision, Record
from pathway.registry.journal.appending import chosen, new_entries
from pathway.registry.journal.chain import head_of
from pathway.registry.journal.entry import Head, Saved, StaleHead, StoredPlan
from pathway.registry.journal.fold import earlier_operations
from pathway.registry.journal.payloads import Revision, decision_entry, revision_entry
from pathway.registry.store import Registry

BATCH = 64
"""How many plans are stored together: what an interrupted run has lost at most."""


@dataclass(frozen=True, slots=True)
class Task:
    """One child to plan: plain data, so that it can be planned in another process or on another machine."""

    child: str
    head: Head
    record: dict[str, Any]
    earlier: tuple[EarlierOperation, ...] = ()


def protocol_digest(protocol: Protocol) -> str:
    """Return a digest of all rules: two protocols with the same one plan alike."""
    return hashlib.sha256(protocol.model_dump_json().encode()).hexdigest()


def to_plan(registry: Registry, protocol: Protocol, on: datetime.date, *, every: bool = False) -> Iterator[Task]:
    """Yield the children whose stored plan is missing or not true any more: entries, rules or the month changed."""
    digest, stored = protocol_digest(protocol), {plan.child: plan for plan in registry.stored_plans()}
    for line in registry.children():
        plan = stored.get(line.child)
        fresh = plan is not None and still_true(plan, line.head, digest, on)
        if line.erased is None and (every or not fresh):
            entries = registry.entries(line.child)
            record = registry.folded(line.child, entries)
            yield Task(line.child, head_of(entries), record.model_dump(mode="json"), earlier_operations(entries))


def still_true(plan: StoredPlan, head: Head, digest: str, on: datetime.date) -> bool:
    """Return whether a stored plan is of these entries and rules, and of the month."""
    return plan.head == head and plan.protocol_digest == digest and _month(plan.on) == _month(on)


def plan_task(task: Task, on: datetime.date, overlay_dir: Path | None) -> tuple[str, dict[str, Any] | str]:
    """Return the child and the summary of its plan, or why it could not be planned. Runs in any process."""
    protocol = _rules(overlay_dir)
    try:
        record = Record.model_validate(task.record)
        plan = make_plan(Question(record, protocol, on, earlier=task.earlier), compared=False)
    except Exception as error:  # one child that fails must not stop the thousand others; it is told by name
        return task.child, f"{type(error).__name__}: {error}"
    return task.child, plan_summary(plan, record, protocol)


_loaded: dict[Path | None, Protocol] = {}


def _rules(overlay_dir: Path | None) -> Protocol:
    if overlay_dir not in _loaded:
        _loaded[overlay_dir] = load_protocol() if overlay_dir is None else load_protocol(rules_folder(overlay_dir))
    return _loaded[overlay_dir]


def replan(
    registry: Registry,
    tasks: Sequence[Task],
    protocol: Protocol,
    on: datetime.date,
    overlay_dir: Path | None,
    executor: Executor,
) -> Iterator[tuple[str, str]]:
    """Plan the tasks on an executor and store the plans as they come; yields each child with "" or what went wrong.

    What is stored stays stored when the run is interrupted: the next one goes on from there.
    """
    digest, heads = protocol_digest(protocol), {task.child: task.head for task in tasks}
    ready: list[StoredPlan] = []
    running = [executor.submit(plan_task, task, on, overlay_dir) for task in tasks]
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
    registry: Registry,
    child: str,
    events: Sequence[Event],
    seen: Head,
    *,
    who: str,
    when: datetime.datetime,
    plan: Plan | None = None,
    reason: str = "",
) -> Saved | StaleHead:
    """Keep the events of a follow-up on a child that was read at `seen`, all together or not at all.

    What was added to is corrected, what was taken back is withdrawn. `plan`, the plan of the record after them, is
    kept with them as a revision with its `reason`.
    """
    entries = registry.entries(child)
    if head_of(entries) != seen:
        return registry.append(child, (), seen=seen, when=when)  # nothing is kept; it says what others saved
    known = registry.folded(child, entries)
    events = rebase(events, known)
    news = new_entries(events, known, entries, who)
    if plan is not None:
        news = (*news, revision_entry(_revision(plan, recommended=not chosen(events), reason=reason), who))
    return registry.append(child, news, seen=seen, when=when)


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
) -> Saved | StaleHead:
    """Keep a plan as a revision; with `choice` the decision for another course goes in together with it."""
    news = [revision_entry(_revision(plan, recommended=choice is None, reason=reason), who)]
    if choice is not None:
        news.insert(0, decision_entry(choice, who))
    return registry.append(child, news, seen=seen, when=when)


def _revision(plan: Plan, *, recommended: bool, reason: str) -> Revision:
    return Revision(
        plan=plan.model_dump(mode="json"),
        on=plan.on,
        protocol_version=plan.protocol.version,
        recommended=recommended,
        reason=reason,
    )


def _month(day: datetime.date) -> tuple[int, int]:
    return day.year, day.month
