"""Planning what the registry holds: stored plans kept in step on every core, follow-ups saved, plans accepted."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, CancelledError, Executor, Future, wait
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any, Literal

from pathway.events import Event, rebase
from pathway.files.rules import rules_folder
from pathway.plan.make import make_plan
from pathway.plan.model import Plan
from pathway.problems import CannotBeDone, cannot
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.question import EarlierOperation, Question
from pathway.questions.due import plan_summary
from pathway.record import Decision, Record
from pathway.registry import due_list
from pathway.registry.journal.appending import chosen, new_entries
from pathway.registry.journal.chain import head_of
from pathway.registry.journal.entry import NO_ENTRIES, Head, Saved, StaleHead, StoredPlan
from pathway.registry.journal.fold import accepted_last, earlier_operations
from pathway.registry.journal.payloads import Revision, decision_entry, revision_entry
from pathway.registry.problem import RegistryProblem
from pathway.registry.store import Registry

Accepter = Literal["", "family", "team"]
"""Who accepts a plan; "" where nobody does, or nobody said."""
BATCH = 64
"""How many plans are stored together: what an interrupted run has lost at most."""
WINDOW = 64
"""How many children are in hand at a time: enough for many workers, few enough to lie in memory."""
PATIENCE_SECONDS = 5.0
"""How long no plan may come before it is asked whether anybody still works."""


@dataclass(frozen=True, slots=True)
class Task:
    """One child to plan: plain data, so that it can be planned in another process or on another machine.

    `fault` says why its entries make up no record, where they do not; `accepted_on` when somebody accepted a plan last.
    """

    child: str
    head: Head
    record: dict[str, Any]
    earlier: tuple[EarlierOperation, ...] = ()
    fault: str = ""
    accepted_on: datetime.date | None = None


def protocol_digest(protocol: Protocol) -> str:
    """Return a digest of all rules: two protocols with the same one plan alike."""
    return hashlib.sha256(protocol.model_dump_json().encode()).hexdigest()


def to_plan(registry: Registry, protocol: Protocol, on: datetime.date, *, every: bool = False) -> Iterator[Task]:
    """Yield the children whose stored plan is missing, damaged or not true any more, read when they are asked for.

    A plan is true for the entries and rules that it was made of, until the first day on which it would change.
    """
    for child in children_to_plan(registry, protocol, on, every=every):
        try:
            entries = registry.entries(child)
            record = registry.folded(child, entries).model_dump(mode="json")
            kept = accepted_last(entries)
            accepted = None if kept is None else kept.entry.when.date()
            task = Task(child, head_of(entries), record, earlier_operations(entries), accepted_on=accepted)
        except (RegistryProblem, ValueError) as error:  # entries that were damaged must not stop the other children
            task = Task(child, NO_ENTRIES, {}, fault=str(error).rstrip("."))
        yield task


def children_to_plan(
    registry: Registry, protocol: Protocol, on: datetime.date, *, every: bool = False
) -> Iterator[str]:
    """Yield the names of the children that `to_plan` reads."""
    digest = protocol_digest(protocol)
    for one in due_list.standings(registry):
        if every or one.digest != digest or not one.holds(on):
            yield one.line.child


def plan_task(task: Task, on: datetime.date, overlay_dir: Path | None) -> tuple[str, dict[str, Any] | str]:
    """Return the child and the summary of its plan, or why it could not be planned. Runs in any process."""
    if task.fault:
        return task.child, task.fault
    protocol = _rules(overlay_dir)
    try:
        record = Record.model_validate(task.record)
        plan = make_plan(Question(record, protocol, on, earlier=task.earlier), compared=False)
    except Exception as error:  # one child that fails must not stop the thousand others; it is told by name
        return task.child, f"{type(error).__name__}: {error}"
    return task.child, with_acceptance(plan_summary(plan, record, protocol, task.earlier), task.accepted_on)


def with_acceptance(summary: dict[str, Any], on: datetime.date | None) -> dict[str, Any]:
    """Return the summary of a plan with the day on which somebody accepted a plan last, None where nobody has."""
    return {**summary, "accepted_on": None if on is None else str(on)}


_loaded: dict[Path | None, Protocol] = {}


def _rules(overlay_dir: Path | None) -> Protocol:
    if overlay_dir not in _loaded:
        _loaded[overlay_dir] = load_protocol() if overlay_dir is None else load_protocol(rules_folder(overlay_dir))
    return _loaded[overlay_dir]


def nobody_missing() -> str:
    """Return that nothing is known to be wrong with those who plan."""
    return ""


def replan(
    registry: Registry,
    tasks: Iterable[Task],
    protocol: Protocol,
    on: datetime.date,
    overlay_dir: Path | None,
    executor: Executor,
    *,
    window: int = WINDOW,
    trouble: Callable[[], str] = nobody_missing,
    patience: float = PATIENCE_SECONDS,
) -> Iterator[tuple[str, str]]:
    """Plan the tasks on an executor and store the plans as they come; yields each child with "" or what went wrong.

    At most `window` tasks are taken up at a time. What is stored stays stored when the run is interrupted: the next
    one goes on from there. Raises CannotBeDone where those who plan are lost: a process that was killed, a scheduler
    that is gone, or whatever `trouble` says when no plan has come for so many seconds.
    """
    digest, coming = protocol_digest(protocol), iter(tasks)
    ready: list[StoredPlan] = []
    running: dict[Future[tuple[str, dict[str, Any] | str]], Task] = {}
    try:
        while True:
            for task in islice(coming, window - len(running)):
                running[executor.submit(plan_task, task, on, overlay_dir)] = task
            if not running:
                break
            done, _ = wait(running, timeout=patience, return_when=FIRST_COMPLETED)
            if not done and (said := trouble()):
                raise _lost(said, running.values())
            for future in done:
                task = running[future]
                summary = _outcome(future)
                del running[future]
                if not isinstance(summary, str):
                    ready.append(StoredPlan(task.child, task.head, protocol.version, digest, on, summary))
                    if len(ready) >= BATCH:
                        registry.store_plans(ready)
                        ready = []
                yield task.child, summary if isinstance(summary, str) else ""
    except BrokenExecutor as error:
        said = "a process that planned ended by itself: it was killed, or the memory was too small"
        raise _lost(said, running.values()) from error
    except CancelledError as error:
        raise _lost(trouble() or "those who plan let go of their work", running.values()) from error
    finally:
        for future in running:
            future.cancel()
        registry.store_plans(ready)


def _outcome(future: Future[tuple[str, dict[str, Any] | str]]) -> dict[str, Any] | str:
    """Return the summary of a plan, or why there is none; lets through that those who plan are lost."""
    try:
        return future.result()[1]
    except (BrokenExecutor, CancelledError):
        raise
    except Exception as error:  # a worker that died at one child, time and again, must not stop the thousand others
        return f"{type(error).__name__}: {error}"


def _lost(said: str, in_hand: Iterable[Task]) -> CannotBeDone:
    names = sorted(task.child for task in in_hand)
    shown = f"{', '.join(names[:3])}{f' and {len(names) - 3} more' if len(names) > 3 else ''}"
    what = f"{said}. {f'In hand were {shown}; what' if names else 'What'} was planned before is kept"
    return cannot("registry replan", what, "run it again to go on from there")


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
    accepted_by: Accepter = "",
) -> Saved | StaleHead:
    """Keep the events of a follow-up on a child that was read at `seen`, all together or not at all.

    What was added to is corrected, what was taken back is withdrawn. `plan`, the plan of the record after them, is
    kept with them as a revision with its `reason`: an accepted one where it is said who accepts it.
    """
    entries = registry.entries(child)
    if head_of(entries) != seen:
        return registry.append(child, (), seen=seen, when=when)  # nothing is kept; it says what others saved
    known = registry.folded(child, entries)
    events = rebase(events, known)
    news = new_entries(events, known, entries, who)
    if plan is not None:
        kept = _revision(plan, not chosen(events), reason, accepted=bool(accepted_by), by=accepted_by)
        news = (*news, revision_entry(kept, who))
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
    by: Accepter = "",
) -> Saved | StaleHead:
    """Keep a plan as an accepted revision; with `choice` the decision for another course goes in together with it."""
    news = [revision_entry(_revision(plan, choice is None, reason, accepted=True, by=by), who)]
    if choice is not None:
        news.insert(0, decision_entry(choice, who))
    return registry.append(child, news, seen=seen, when=when)


def _revision(plan: Plan, recommended: bool, reason: str, *, accepted: bool, by: Accepter) -> Revision:
    return Revision(
        plan=plan.model_dump(mode="json"),
        on=plan.on,
        protocol_version=plan.protocol.version,
        recommended=recommended,
        reason=reason,
        accepted=accepted,
        accepted_by=by,
    )
