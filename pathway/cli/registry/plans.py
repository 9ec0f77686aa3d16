"""The verbs on plans in the registry: who needs what, planning anew, accepting a plan as a revision. An edge."""

from __future__ import annotations

import datetime
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.cli.asked import opened, protocol_of
from pathway.cli.errors import CANNOT_PLAN, leave, note, refuse
from pathway.cli.options import (
    RegistryOptions,
    by_option,
    json_option,
    name_of,
    now,
    on_option,
    protocol_option,
    registry_options,
    today,
)
from pathway.cli.printing import show, show_json, width
from pathway.problems import cannot
from pathway.protocol.question import Question
from pathway.views.words.caution import CAUTION

if TYPE_CHECKING:
    from concurrent.futures import Executor


ALTERED = "plan anew (`registry replan`): the stored plan was altered"
MOST_NAMED = 20
"""How many children without a plan are named one by one."""


@click.command("due")
@click.option("--months", type=click.IntRange(0, 36), default=3, show_default=True, help="How far to look ahead.")
@on_option
@registry_options
@json_option
def due_(months: int, on: datetime.date | None, where: RegistryOptions, as_json: bool) -> None:
    """List who needs what by when: overdue first. Reads stored plans; `registry replan` brings them up to date."""
    from pathway.questions.due import Due, due
    from pathway.views.data.plan_json import part_json
    from pathway.views.words.wrapping import wrap

    day = today(on)
    with opened(where) as store:
        kept, children = store.kept_plans(), store.children()
    plans = kept.plans
    found = sorted(
        [
            *(item for plan in plans for item in due(plan.child, plan.summary, day, months)),
            *(Due(child, day, ALTERED, True) for child in kept.damaged),
        ],
        key=lambda item: (item.by, item.child, item.what),
    )
    heads = {line.child: line.head for line in children if line.erased is None}
    stale = sorted(set(heads) - {plan.child for plan in plans if heads.get(plan.child) == plan.head})
    if as_json:
        items = [{"child": i.child, "by": str(i.by), "what": i.what, "overdue": i.overdue} for i in found]
        show_json(part_json({"on": str(day), "due": items, "to_plan_again": stale}))
        return
    for item in found:
        text = f"{item.child}  {item.what}{' (overdue)' if item.overdue else ''}"
        show("\n".join(wrap(text, width(), f"{item.by}  ", " " * 12)))
    note(f"{CAUTION}.")
    if stale:
        words = "1 child has" if len(stale) == 1 else f"{len(stale)} children have"
        named = f" ({', '.join(stale)})" if len(stale) <= MOST_NAMED else ""
        note(f"{words} no plan up to date with the entries{named}: run `registry replan`.")


@click.command("replan")
@click.option("--all", "every", is_flag=True, help="Plan every child again, not only those whose plan is out of date.")
@click.option("--cluster", metavar="ADDRESS", help="A dask.distributed scheduler instead of this machine's cores.")
@on_option
@protocol_option
@registry_options
def replan_(
    every: bool,
    cluster: str | None,
    on: datetime.date | None,
    overlay_dir: Path | None,
    where: RegistryOptions,
) -> None:
    """Plan anew every child whose entries or rules changed, on all cores. Interrupted, the next run goes on."""
    from pathway.registry.planning import replan, to_plan

    day, protocol = today(on), protocol_of(overlay_dir)
    failed: list[tuple[str, str]] = []
    with opened(where) as store:
        tasks = list(to_plan(store, protocol, day, every=every))
        done = 0
        try:
            with (
                _executor(cluster) as executor,
                click.progressbar(length=len(tasks), label="Planning", file=sys.stderr) as bar,
            ):
                for child, wrong in replan(store, tasks, protocol, day, overlay_dir, executor):
                    done += 1
                    bar.update(1)
                    if wrong:
                        failed.append((child, wrong))
        except KeyboardInterrupt:
            note(f"\nStopped after {done} of {len(tasks)}; run it again to continue.")
            leave(CANNOT_PLAN)
    for child, wrong in failed:
        note(f"{child}: could not be planned ({wrong}); please report it.")
    note(f"Children planned: {len(tasks) - len(failed)}")
    if failed:
        leave(CANNOT_PLAN)


@contextmanager
def _executor(cluster: str | None) -> Iterator[Executor]:
    """Yield all cores of this machine, or a cluster through the same interface."""
    if cluster is None:
        from concurrent.futures import ProcessPoolExecutor

        with ProcessPoolExecutor(os.cpu_count() or 1) as executor:
            yield executor
        return
    try:
        from distributed import Client  # type: ignore[import-not-found,unused-ignore]
    except ImportError:
        remedy = "install it with `pip install limb-pathway[cluster]`"
        refuse("--cluster", "no dask.distributed", "it", remedy)
    try:
        client = Client(cluster, timeout="10s")
    except (OSError, ValueError) as error:
        refuse("--cluster", f"no scheduler at {cluster} ({error})", "one", "check the address")
    with client:
        yield client.get_executor()


@click.command()
@click.argument("child")
@click.option("--course", help="A course other than the recommended one, by its id; give --reason.")
@click.option("--reason", default="", help="Why this course; kept with the plan.")
@by_option
@on_option
@protocol_option
@registry_options
def accept(
    child: str,
    course: str | None,
    reason: str,
    by: str | None,
    on: datetime.date | None,
    overlay_dir: Path | None,
    where: RegistryOptions,
) -> None:
    """Keep the plan of a child in the registry as a revision: who, when, the rules, the whole plan, the reason."""
    from pathway.plan.make import make_plan
    from pathway.record import Decision
    from pathway.registry.journal.chain import head_of
    from pathway.registry.journal.entry import StaleHead
    from pathway.registry.journal.fold import earlier_operations
    from pathway.registry.planning import accept as keep

    day, protocol = today(on), protocol_of(overlay_dir)
    with opened(where) as store:
        entries = store.entries(child)
        record, head = store.folded(child, entries), head_of(entries)
        plan, choice = make_plan(Question(record, protocol, day, earlier=earlier_operations(entries))), None
        if course is not None and (plan.recommended is None or plan.recommended.id != course):
            ids = [one.id for one in plan.alternatives]
            if course not in ids:
                refuse("--course", repr(course), f"one of {', '.join(ids) or 'none'}", "name one of them")
            if not reason.strip():
                refuse("--reason", "nothing", "why not the recommended course", "write the reason")
            fields = {"date": day, "by": "team", "kind": "choose_course", "course": course, "reason": reason}
            choice = Decision.model_validate(fields)
            chosen = record.model_copy(update={"decisions": (*record.decisions, choice)})
            plan = make_plan(Question(chosen, protocol, day))
        saved = keep(store, child, plan, head, who=name_of(by), when=now(), reason=reason, choice=choice)
    if isinstance(saved, StaleHead):
        since = ", ".join(f"{entry.kind} by {entry.who} at {entry.when:%H:%M}" for entry in saved.since)
        raise cannot(child, f"somebody else has saved since ({since})", "nothing was kept. Check the plan again")
    best = plan.recommended
    note(f"{CAUTION}.")
    note(f"Kept: {best.summary if best else 'a plan without a course'}, entry {saved.head.count} of {child}.")


@click.command("revisions")
@click.argument("child")
@registry_options
@json_option
def revisions(child: str, where: RegistryOptions, as_json: bool) -> None:
    """List the accepted plans of a child. `compare CHILD@1 CHILD@2` tells what changed between two."""
    from pathway.registry.journal.fold import accepted_plans
    from pathway.views.data.plan_json import part_json
    from pathway.views.words.wrapping import wrap

    with opened(where) as store:
        found = accepted_plans(store.entries(child))
    if as_json:
        show(
            part_json(
                [
                    {
                        "number": one.number,
                        "by": one.entry.who,
                        "at": one.entry.when.isoformat(),
                        "on": str(one.revision.on),
                    }
                    | {"protocol_version": one.revision.protocol_version, "reason": one.revision.reason}
                    for one in found
                ]
            )
        )
        return
    for one in found:
        why = f"; {one.revision.reason}" if one.revision.reason else ""
        name = f"{child}@{one.number}  "
        text = (
            f"on {one.revision.on}, rules {one.revision.protocol_version}, "
            f"kept {one.entry.when:%Y-%m-%d} by {one.entry.who}{why}"
        )
        show("\n".join(wrap(text, width(), name, " " * len(name))))
    note(f"{CAUTION}.")
    note(f"{len(found)} revisions.")
