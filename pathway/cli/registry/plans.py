"""The verbs on plans in the registry: who needs what, planning anew, accepting a plan as a revision. An edge."""

from __future__ import annotations

import datetime
import sys
from pathlib import Path

import click

from pathway.cli.asked import nothing_looked_for, opened, protocol_of
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
from pathway.cli.registry.damaged import tell_damaged
from pathway.problems import cannot
from pathway.protocol.question import Question
from pathway.questions.ahead import DUE_MONTHS
from pathway.views.words.caution import CAUTION

ALTERED = "plan anew (`registry replan`): the stored plan was altered"
MOST_NAMED = 20
"""How many children without a plan are named one by one."""


@click.command("due")
@click.option(
    "--months", type=click.IntRange(0, 36), default=DUE_MONTHS, show_default=True, help="How far to look ahead."
)
@click.option("--most", type=click.IntRange(1, 100_000), default=1000, show_default=True, help="Lines on a page.")
@click.option("--by-child", is_flag=True, help="One line a child: what is most urgent, and how many more items.")
@click.option("--after", metavar="PLACE", help="Go on behind this place, as the page before printed it.")
@on_option
@registry_options
@json_option
@nothing_looked_for()
def due_(
    months: int,
    most: int,
    by_child: bool,
    after: str | None,
    on: datetime.date | None,
    where: RegistryOptions,
    as_json: bool,
) -> None:
    """List who needs what by when: overdue first, page by page; with --by-child each child once.

    Reads stored plans; `registry replan` brings them up to date. A child whose plan is missing, old or damaged is
    counted as to be planned again, whatever its plan says.
    """
    from pathway.questions.due import Due
    from pathway.registry.due_list import Page, due_page, each_child, place_after, standings
    from pathway.views.data.plan_json import part_json
    from pathway.views.words.due import due_words
    from pathway.views.words.wrapping import wrap

    if by_child and (as_json or after is not None):
        found = f"--by-child with {'--json' if as_json else '--after'}"
        refuse("due", found, "one of the two", "JSON and pages hold every item, --by-child every child")
    day, place = today(on), None if after is None else place_after(after)
    stale: list[str] = []
    damaged: dict[str, str] = {}
    with opened(where) as store:
        more: dict[str, int] = {}
        if by_child:
            first, more = each_child(store, day, months)
            page = Page(first)
        else:
            page = due_page(store, day, months, most, place)
        for one in standings(store):
            if not one.holds(day):
                stale.append(one.line.child)
            if one.fault:
                damaged[one.line.child] = one.fault
    at_once = [Due(child, day, ALTERED, True) for child in sorted(damaged)] if place is None else []
    listed = [*at_once, *page.items]
    if as_json:
        items = [{"child": i.child, "by": str(i.by), "what": i.what, "overdue": i.overdue} for i in listed]
        data = {
            "on": str(day),
            "due": items,
            "left": page.left,
            "after": None if page.after is None else str(page.after),
        }
        show_json(part_json({**data, "to_plan_again": stale, "damaged": sorted(damaged)}))
        return
    columns, lines = width(), []
    for item in listed:
        others = f"; {more[item.child]} more" if more.get(item.child) else ""
        lines += wrap(f"{item.child}  {due_words(item)}{others}", columns, f"{item.by}  ", " " * 12)
    show("\n".join(lines), nl=bool(lines))
    note(f"{CAUTION}.")
    if page.after is not None:
        note(f"{page.left} more: go on with `--after {page.after}`.")
    tell_damaged(damaged)
    if stale:
        words = "1 child has" if len(stale) == 1 else f"{len(stale)} children have"
        named = f" ({', '.join(stale)})" if len(stale) <= MOST_NAMED else ""
        note(f"{words} no plan up to date with the entries{named}: run `registry replan`.")


@click.command("replan")
@click.option("--all", "every", is_flag=True, help="Plan every child again, not only those whose plan is out of date.")
@click.option("--cluster", metavar="ADDRESS", help="A dask.distributed scheduler instead of this machine's cores.")
@click.option(
    "--wait",
    type=click.IntRange(1, 3600),
    default=30,
    show_default=True,
    metavar="SECONDS",
    help="How long no plan may come before it is asked whether any worker is left.",
)
@on_option
@protocol_option
@registry_options
def replan_(
    every: bool,
    cluster: str | None,
    wait: int,
    on: datetime.date | None,
    overlay_dir: Path | None,
    where: RegistryOptions,
) -> None:
    """Plan anew every child whose entries, rules or days to come changed, on all cores.

    Interrupted, or with those who plan lost, the next run goes on: what was planned is kept.
    """
    from pathway.cli.registry.workers import workers
    from pathway.registry.planning import children_to_plan, replan, to_plan

    day, protocol = today(on), protocol_of(overlay_dir)
    failed: list[tuple[str, str]] = []
    with opened(where) as store:
        count, done = sum(1 for _ in children_to_plan(store, protocol, day, every=every)), 0
        try:
            with (
                workers(cluster) as at_work,
                click.progressbar(length=count, label="Planning", file=sys.stderr) as bar,
            ):
                tasks = to_plan(store, protocol, day, every=every)
                planned = replan(store, tasks, protocol, day, overlay_dir, at_work.executor, trouble=at_work.trouble)
                for child, wrong in planned:
                    done += 1
                    bar.update(1)
                    if wrong:
                        failed.append((child, wrong))
        except KeyboardInterrupt:
            note(f"\nStopped after {done} of {count}; run it again to continue.")
            leave(CANNOT_PLAN)
    for child, wrong in failed:
        note(f"{child}: could not be planned ({wrong}); the others were. Please report what you cannot mend.")
    note(f"Children planned: {done - len(failed)}")
    if failed:
        leave(CANNOT_PLAN)


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
        saved = keep(store, child, plan, head, who=name_of(by), when=now(), reason=reason, choice=choice, by="team")
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
    """List the plans kept of a child, and which of them somebody accepted.

    `compare CHILD@1 CHILD@2` tells what changed between two.
    """
    from pathway.registry.journal.fold import accepted_plans
    from pathway.views.data.plan_json import part_json
    from pathway.views.words.history import standing_words
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
                    | {"accepted": one.revision.accepted, "accepted_by": one.revision.accepted_by}
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
            f"{standing_words(one.revision.accepted, one.revision.accepted_by)}, "
            f"kept {one.entry.when:%Y-%m-%d} by {one.entry.who}{why}"
        )
        show("\n".join(wrap(text, width(), name, " " * len(name))))
    note(f"{CAUTION}.")
    note(f"{len(found)} revisions.")
