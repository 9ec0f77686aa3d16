"""The verbs that take children into the registry, give them out, list and erase them."""

from __future__ import annotations

import datetime
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pathway.cli.asked import nothing_looked_for, opened, protocol_of
from pathway.cli.errors import CANNOT_PLAN, confirmed, leave, note, refuse, tell
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
from pathway.cli.registry.checks import ages
from pathway.cli.registry.damaged import tell_damaged
from pathway.files.reading import read_text
from pathway.files.writing import Target, folder_made, write_out
from pathway.problems import Refused
from pathway.views.words.caution import CAUTION

if TYPE_CHECKING:
    from pathway.protocol.model import Protocol
    from pathway.record import Record
    from pathway.registry.due_list import Standing
    from pathway.registry.exchange import TakenIn
    from pathway.registry.journal.entry import Entry

MOST_HISTORY_BYTES = 200_000_000
DATE_ORDERS = ("day-month-year", "month-day-year", "year-month-day")
AT_ONCE = 1000
"""How many lines of a list are printed together."""


@click.command("import")
@click.argument("cases", nargs=-1, type=click.Path(path_type=Path))
@click.option(
    "--replace", is_flag=True, help="Let a case file replace what is known; the earlier version stays readable."
)
@click.option(
    "--fhir", "bundle", type=click.Path(path_type=Path), help="Import the leg lengths of a FHIR R4 bundle (JSON)."
)
@click.option("--child", help="Which child the bundle is about, if it names no pseudonym known here.")
@click.option("--method", default="", help="How it was measured, where a bundle or a table does not say.")
@click.option("--rest", is_flag=True, help="Import the other lengths or children where some cannot be used.")
@click.option(
    "--mapping", type=click.Path(path_type=Path), metavar="FILE", help="How a table is read (TOML), instead of guessed."
)
@click.option(
    "--write-mapping",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write how a table would be read, to be corrected; import nothing.",
)
@click.option("--date-order", type=click.Choice(DATE_ORDERS), help="Which order the dates of a table have.")
@click.option("--yes", is_flag=True, help="Import a table without asking.")
@by_option
@on_option
@protocol_option
@registry_options
def import_(
    cases: tuple[Path, ...],
    replace: bool,
    bundle: Path | None,
    child: str | None,
    method: str,
    rest: bool,
    mapping: Path | None,
    write_mapping: Path | None,
    date_order: str | None,
    yes: bool,
    by: str | None,
    on: datetime.date | None,
    overlay_dir: Path | None,
    where: RegistryOptions,
) -> None:
    """Take in case files, histories (.json), a table (.csv, .xlsx, .parquet) or, with --fhir, leg lengths.

    A second time adds nothing. All files are read before anything is saved; a fault in one leaves the registry as it
    was. Lengths of a bundle become visits of a child that the registry knows. Of a table, one row a visit or one row a
    measurement, it is shown first how it is read and what each child gets.
    """
    from pathway.children.resolve import locate_files, read
    from pathway.registry.exchange import import_history, import_record

    if bundle is not None:
        from pathway.cli.registry.lengths import take_in_lengths

        if cases:
            refuse("import", "case files and --fhir", "one of them", "import the case files first")
        with opened(where) as store:
            take_in_lengths(store, bundle, child, method, rest, name_of(by), today(on), protocol_of(overlay_dir))
        return
    if not cases:
        refuse("import", "no file", "case files, histories, a table or --fhir FILE", "name one")
    from pathway.files.tables import is_table

    if any(is_table(case) for case in cases):
        from pathway.cli.registry.tables import TableOptions, take_in_table

        if len(cases) > 1:
            refuse("import", "a table beside other files", "one table at a time", "import them one after the other")
        if child is not None or replace:
            refuse("import", "--child or --replace with a table", "neither", "leave it out")
        protocol = protocol_of(overlay_dir)
        if method and method not in {one.id for one in protocol.methods}:
            refuse("--method", repr(method), f"one of {', '.join(one.id for one in protocol.methods)}", "choose one")
        options = TableOptions(mapping, write_mapping, date_order, method, rest, yes)
        take_in_table(cases[0], options, name_of(by), today(on), protocol, where)
        return
    if mapping is not None or write_mapping is not None or date_order is not None or yes:
        refuse("import", "--mapping, --write-mapping, --date-order or --yes", "them with a table", "name a csv or xlsx")
    if child is not None or method or rest:
        refuse("import", "--child, --method or --rest without a bundle", "--fhir FILE", "name it")
    records: list[Record] = []
    histories: list[tuple[Entry, ...]] = []
    protocol = protocol_of(overlay_dir)
    for case in cases:
        if case.suffix == ".json":
            histories.append(_history(case, protocol, today(on)))
        else:
            # A word names a file or an example here: a child of the registry is in it already.
            records += (read(one, protocol, today(on)).record for one in locate_files((case,)))
    failed: list[int] = []
    with opened(where, create=True) as store:
        for record in records:
            with _told(failed):
                _say(import_record(store, record, who=name_of(by), when=now(), replace=replace))
        for entries in histories:
            with _told(failed):
                _say(import_history(store, entries, now()))
    if failed:
        count = len(records) + len(histories)
        if count > 1:
            note(f"{len(failed)} of {count} files were not imported; the others are.")
        leave(max(failed))


@contextmanager
def _told(failed: list[int]) -> Iterator[None]:
    """Say what is refused inside, note its exit code, and go on."""
    try:
        yield
    except Refused as error:
        failed.append(tell(error))


def _say(done: TakenIn) -> None:
    added = {"new": "imported", "added": f"{done.entries} entries added", "replaced": "case replaced"}
    show(f"{done.child}: {added.get(done.what, 'nothing new')}; entry {done.head.count}.")


@click.command()
@click.argument("child", required=False)
@click.option("--all", "every", is_flag=True, help="Every child, each in its own file in the folder given with -o.")
@click.option("--history", is_flag=True, help="Everything stored, as JSON, instead of a case file.")
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Write to this new file (with --all: folder).")
@registry_options
def export(
    child: str | None,
    every: bool,
    history: bool,
    output: Path | None,
    where: RegistryOptions,
) -> None:
    """Give a child's case file, which imports to the same record, or its whole history."""
    from pathway.registry.exchange import export_case, history_json

    if (child is None) is not every or (every and output is None):
        refuse("export", "no child or both", "the id of a child, or --all with -o FOLDER", "give one")
    give, end = (history_json, ".json") if history else (export_case, ".toml")
    with opened(where) as store:
        if child is not None:
            text = give(store, child)
            if output is None:
                show(text, nl=False)
            else:
                write_out(Target(output), text.encode())
                note(f"Wrote {output}.")
            return
        assert output is not None
        folder_made(output)
        lines = [line for line in store.children() if history or line.erased is None]
        with click.progressbar(lines, label="Writing", file=sys.stderr, hidden=not sys.stderr.isatty()) as shown:
            for line in shown:
                write_out(Target(output / f"{line.child}{end}"), give(store, line.child).encode())
    note(f"{len(lines)} children written to {output}.")


@click.command("list")
@registry_options
@json_option
@nothing_looked_for()
def list_(where: RegistryOptions, as_json: bool) -> None:
    """List the children with their last entry and the next stage of their stored plan."""
    from pathway.registry.due_list import standings
    from pathway.views.data.plan_json import parts_json
    from pathway.views.words.wrapping import wrap

    damaged: dict[str, str] = {}
    lines: list[str] = []
    count, without, columns = 0, 0, width()
    with opened(where) as store:
        if as_json:
            written = parts_json(_line_data(one) for one in standings(store, erased=True, index=False))
            while some := "".join(islice(written, AT_ONCE)):
                show_json(some, nl=False)
            show_json("")
            return
        copies, wide = ages(store, now()), store.longest_name()
        for one in standings(store, erased=True, index=False):
            line, count = one.line, count + 1
            without += one.plan is None and line.erased is None and not one.fault
            if one.fault:
                damaged[line.child] = one.fault
            entries = f"{line.head.count} {'entry' if line.head.count == 1 else 'entries'}"
            last = f"last {line.last:%Y-%m-%d} by {line.last_by}"
            text = f"{entries}, {last}; {_plan_words(one)}"
            lines += wrap(text, columns, f"{line.child:<{wide}}  ", " " * (wide + 2))
            if len(lines) >= AT_ONCE:
                show("\n".join(lines))
                lines = []
    show("\n".join(lines), nl=bool(lines))
    note(f"{CAUTION}.")
    tell_damaged(damaged)
    note(f"Children: {count}")
    if without:
        words = "1 child has no stored plan" if without == 1 else f"{without} children have no stored plan"
        note(f"{words}: `limb-pathway registry replan` makes it.")
    note(copies)


@click.command()
@click.argument("child")
@click.option("--reason", required=True, help="Why, for those who read the chain later; no names.")
@click.option("--yes", is_flag=True, help="Do not ask for confirmation.")
@by_option
@registry_options
def erase(child: str, reason: str, yes: bool, by: str | None, where: RegistryOptions) -> None:
    """Delete everything that is known of a child; its chain of hashes stays and says when."""
    from pathway.registry.erasure import erase as erased

    with opened(where) as store:
        if not yes and not confirmed(f"Erase everything stored about {child}? This cannot be undone"):
            note("Nothing was erased.")
            return
        done = erased(store, child, reason=reason, who=name_of(by), when=now())
    remains = "Backups and exports made earlier still contain it: erase it there too."
    for sentence in done.swept.left:
        note(sentence)
    if not done.swept.done:
        note(f"{child}: can no longer be read, but is not erased from the files yet. {remains}")
        leave(CANNOT_PLAN)
    show(f"{child}: erased on {done.entry.when:%Y-%m-%d}. {remains}")


def _history(file: Path, protocol: Protocol, on: datetime.date) -> tuple[Entry, ...]:
    from pathway.registry.exchange import check_history, read_history

    entries = read_history(read_text(file, "a history (JSON)", MOST_HISTORY_BYTES), str(file))
    check_history(entries, str(file), protocol, on, now())
    return entries


def _line_data(one: Standing) -> dict[str, Any]:
    line, plan = one.line, one.plan
    return {
        "child": line.child,
        "entries": line.head.count,
        "sha256": line.head.sha256,
        "first": line.first.isoformat(),
        "last": line.last.isoformat(),
        "last_by": line.last_by,
        "erased": None if line.erased is None else line.erased.isoformat(),
        "plan": None
        if plan is None
        else {"on": plan.on.isoformat(), "up_to_date": plan.head == line.head, **plan.summary},
    }


def _plan_words(one: Standing) -> str:
    line, plan = one.line, one.plan
    if line.erased is not None:
        return f"erased on {line.erased:%Y-%m-%d}"
    if one.fault:
        return "to be planned again: the stored plan was damaged or altered"
    if plan is None:
        return "no plan stored"
    later = "" if plan.head == line.head else " (entries were added since)"
    return f"{plan.summary.get('next') or 'no stage to come'}, planned on {plan.on}{later}"
