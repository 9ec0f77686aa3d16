"""The verbs on plans in the registry: who needs what, planning anew, accepting a plan as a revision. An edge."""

from __future__ import annotations

import datetime
import os
import sys
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import click

from pathway.cli.case import breaches_told, on_option, today
from pathway.cli.registry import registry
from pathway.cli.registry_options import by_option, name_of, now, opened, refuse, registry_options
from pathway.cli.rules import json_option, protocol_of, protocol_option, width

OVERTAKEN = 1


@registry.command("due")
@click.option("--months", type=click.IntRange(0, 36), default=3, show_default=True, help="How far to look ahead.")
@on_option
@registry_options
@json_option
def due_(
    months: int, on: datetime.date | None, address: str | None, key_file: Path | None, ask_key: bool, as_json: bool
) -> None:
    """List who needs what by when: overdue first. Reads stored plans; `registry replan` brings them up to date."""
    from pathway.questions.due import due
    from pathway.views.data.plan_json import part_json
    from pathway.views.words.wrapping import wrap

    day = today(on)
    with opened(address, key_file, ask_key) as store:
        plans, children = store.stored_plans(), store.children()
    found = sorted(
        (item for plan in plans for item in due(plan.child, plan.summary, day, months)),
        key=lambda item: (item.by, item.child, item.what),
    )
    heads = {line.child: line.head for line in children if line.erased is None}
    stale = sorted(set(heads) - {plan.child for plan in plans if heads.get(plan.child) == plan.head})
    if as_json:
        items = [{"child": i.child, "by": str(i.by), "what": i.what, "overdue": i.overdue} for i in found]
        click.echo(part_json({"on": str(day), "due": items, "to_plan_again": stale}))
        return
    for item in found:
        text = f"{item.child}  {item.what}{' (overdue)' if item.overdue else ''}"
        click.echo("\n".join(wrap(text, width(), f"{item.by}  ", " " * 12)))
    click.echo("Planning aid: the treating surgeon decides; follow local protocol.", err=True)
    if stale:
        words = "1 child has" if len(stale) == 1 else f"{len(stale)} children have"
        click.echo(f"{words} no plan up to date with the entries: run `registry replan`.", err=True)


@registry.command("replan")
@click.option("--all", "every", is_flag=True, help="Plan every child again, not only those whose plan is out of date.")
@click.option("--cluster", metavar="ADDRESS", help="A dask.distributed scheduler instead of this machine's cores.")
@on_option
@protocol_option
@registry_options
def replan_(
    every: bool,
    cluster: str | None,
    on: datetime.date | None,
    clinic: Path | None,
    address: str | None,
    key_file: Path | None,
    ask_key: bool,
) -> None:
    """Plan anew every child whose entries or rules changed, on all cores. Interrupted, the next run goes on."""
    from pathway.registry.planning import replan, to_plan

    day, protocol = today(on), protocol_of(clinic)
    failed: list[tuple[str, str]] = []
    with opened(address, key_file, ask_key) as store:
        tasks = list(to_plan(store, protocol, day, every=every))
        done = 0
        try:
            with (
                _executor(cluster) as executor,
                click.progressbar(length=len(tasks), label="Planning", file=sys.stderr) as bar,
            ):
                for child, wrong in replan(store, tasks, protocol, day, clinic, executor):
                    done += 1
                    bar.update(1)
                    if wrong:
                        failed.append((child, wrong))
        except KeyboardInterrupt:
            click.echo(f"\nStopped after {done} of {len(tasks)}; run it again to continue.", err=True)
            sys.exit(OVERTAKEN)
    for child, wrong in failed:
        click.echo(f"{child}: could not be planned ({wrong}); please report it.", err=True)
    click.echo(f"Children planned: {len(tasks) - len(failed)}", err=True)
    if failed:
        sys.exit(OVERTAKEN)


@contextmanager
def _executor(cluster: str | None) -> Iterator[Executor]:
    """Yield all cores of this machine, or a cluster through the same interface."""
    if cluster is None:
        with ProcessPoolExecutor(os.cpu_count() or 1) as executor:
            yield executor
        return
    try:
        from distributed import Client  # type: ignore[import-not-found,unused-ignore]
    except ImportError:
        refuse(
            "--cluster: found no dask.distributed, expected it; install it with `pip install limb-pathway[cluster]`."
        )
    try:
        client = Client(cluster, timeout="10s")
    except (OSError, ValueError) as error:
        refuse(f"--cluster: found no scheduler at {cluster} ({error}), expected one; check the address.")
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
    clinic: Path | None,
    address: str | None,
    key_file: Path | None,
    ask_key: bool,
) -> None:
    """Keep the plan of a child in the registry as a revision: who, when, the rules, the whole plan, the reason."""
    from pathway.plan.make import make_plan
    from pathway.record import Decision
    from pathway.registry.journal.entry import Overtaken
    from pathway.registry.planning import accept as keep

    day, protocol = today(on), protocol_of(clinic)
    with opened(address, key_file, ask_key) as store:
        record, head = store.record_and_head(child)
        with breaches_told(child):
            plan = make_plan(record, protocol, day)
            choice = None
            if course is not None and (plan.recommended is None or plan.recommended.id != course):
                ids = [one.id for one in plan.alternatives]
                if course not in ids:
                    refuse(f"--course: found {course!r}, expected one of {', '.join(ids) or 'none'}; name one of them.")
                if not reason.strip():
                    refuse("--reason: found nothing, expected why not the recommended course; write the reason.")
                fields = {"date": day, "by": "team", "kind": "choose_course", "course": course, "reason": reason}
                choice = Decision.model_validate(fields)
                chosen = record.model_copy(update={"decisions": (*record.decisions, choice)})
                plan = make_plan(chosen, protocol, day)
        saved = keep(store, child, plan, head, who=name_of(by), when=now(), reason=reason, choice=choice)
    if isinstance(saved, Overtaken):
        since = ", ".join(f"{entry.kind} by {entry.who} at {entry.when:%H:%M}" for entry in saved.since)
        click.echo(
            f"{child}: somebody else has saved since ({since}); nothing was kept. Check the plan again.", err=True
        )
        sys.exit(OVERTAKEN)
    best = plan.recommended
    click.echo(
        f"Kept: {best.summary if best else 'a plan without a course'}, entry {saved.head.count} of {child}.", err=True
    )


@registry.command("revisions")
@click.argument("child")
@registry_options
@json_option
def revisions(child: str, address: str | None, key_file: Path | None, ask_key: bool, as_json: bool) -> None:
    """List the accepted plans of a child. `compare CHILD@1 CHILD@2` tells what changed between two."""
    from pathway.registry.journal.fold import accepted_plans
    from pathway.views.data.plan_json import part_json
    from pathway.views.words.wrapping import wrap

    with opened(address, key_file, ask_key) as store:
        found = accepted_plans(store.entries(child))
    if as_json:
        click.echo(
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
        click.echo("\n".join(wrap(text, width(), name, " " * len(name))))
    click.echo(f"{len(found)} revisions.", err=True)
