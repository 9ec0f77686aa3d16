"""The verbs on the registry: children in and out, lists, verifying, copies, erasure. An edge."""

from __future__ import annotations

import datetime
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pathway.cli.case import CANNOT_PLAN, on_option, read_case_file, record_of, today
from pathway.cli.registry_options import (
    by_option,
    key_of,
    name_of,
    now,
    opened,
    problems_told,
    refuse,
    registry_options,
    write_new,
)
from pathway.cli.rules import json_option, protocol_of, protocol_option, width

if TYPE_CHECKING:
    from pathway.record import Record
    from pathway.registry.journal.audit import Audit
    from pathway.registry.journal.entry import ChildLine, Entry, Head, StoredPlan

MOST_HISTORY_BYTES = 200_000_000


@click.group()
def registry() -> None:
    """Keep children durably: every entry stays, nobody's is overwritten, and what was altered is found."""


@registry.command("import")
@click.argument("cases", nargs=-1, type=click.Path(path_type=Path))
@click.option(
    "--replace", is_flag=True, help="Let a case file replace what is known; the earlier version stays readable."
)
@click.option(
    "--fhir", "bundle", type=click.Path(path_type=Path), help="Import the leg lengths of a FHIR R4 bundle (JSON)."
)
@click.option("--child", help="Which child the bundle is about, if it names no pseudonym known here.")
@click.option("--method", default="", help="How lengths in the bundle were measured, where it does not say.")
@click.option("--rest", is_flag=True, help="Import the other lengths of the bundle where some cannot be used.")
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
    by: str | None,
    on: datetime.date | None,
    clinic: Path | None,
    address: str | None,
    key_file: Path | None,
    ask_key: bool,
) -> None:
    """Take in case files, histories (.json), or with --fhir leg lengths: a second time adds nothing.

    All files are read before anything is saved; a fault in one leaves the registry as it was. Lengths of a bundle
    become visits of a child that the registry knows.
    """
    from pathway.registry.exchange import import_history, import_record

    if bundle is not None:
        from pathway.cli.registry_lengths import take_in_lengths

        if cases:
            refuse("import: found case files and --fhir, expected one of them; import the case files first.")
        with opened(address, key_file, ask_key) as store:
            take_in_lengths(store, bundle, child, method, rest, name_of(by), today(on), protocol_of(clinic))
        return
    if not cases:
        refuse("import: found no file, expected case files, histories or --fhir FILE; name one.")
    if child is not None or method or rest:
        refuse("import: found --child, --method or --rest without a bundle, expected --fhir FILE; name it.")
    records: list[Record] = []
    histories: list[tuple[Entry, ...]] = []
    protocol = protocol_of(clinic)
    with problems_told():
        for case in cases:
            if case.suffix == ".json":
                histories.append(_history(case))
            else:
                records.append(record_of(read_case_file(case), str(case), protocol, today(on)))
    with opened(address, key_file, ask_key, create=True) as store:
        done = [import_record(store, one, who=name_of(by), when=now(), replace=replace) for one in records]
        done += [import_history(store, one) for one in histories]
    for one in done:
        added = {"new": "imported", "added": f"{one.entries} entries added", "replaced": "case replaced"}
        click.echo(f"{one.child}: {added.get(one.what, 'nothing new')}; entry {one.head.count}.")


@registry.command()
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
    address: str | None,
    key_file: Path | None,
    ask_key: bool,
) -> None:
    """Give a child's case file, which imports to the same record, or its whole history."""
    from pathway.registry.exchange import export_case, history_json

    if (child is None) is not every or (every and output is None):
        refuse("export: found no child or both, expected the id of a child, or --all with -o FOLDER; give one.")
    give, end = (history_json, ".json") if history else (export_case, ".toml")
    with opened(address, key_file, ask_key) as store:
        if child is not None:
            text = give(store, child)
            if output is None:
                click.echo(text, nl=False)
            else:
                write_new(output, text)
            return
        assert output is not None
        _folder(output)
        lines = [line for line in store.children() if history or line.erased is None]
        with click.progressbar(lines, label="Writing", file=sys.stderr, hidden=not sys.stderr.isatty()) as shown:
            for line in shown:
                write_new(output / f"{line.child}{end}", give(store, line.child))
    click.echo(f"{len(lines)} children written to {output}.", err=True)


@registry.command("list")
@registry_options
@json_option
def list_(address: str | None, key_file: Path | None, ask_key: bool, as_json: bool) -> None:
    """List the children with their last entry and the next stage of their stored plan."""
    from pathway.views.data.plan_json import part_json
    from pathway.views.words.wrapping import wrap

    with opened(address, key_file, ask_key) as store:
        lines = store.children()
        plans = {plan.child: plan for plan in store.stored_plans()}
    if as_json:
        click.echo(part_json([_line_data(line, plans.get(line.child)) for line in lines]))
        return
    wide = max((len(line.child) for line in lines), default=0)
    for line in lines:
        count = f"{line.head.count} {'entry' if line.head.count == 1 else 'entries'}"
        last = f"last {line.last:%Y-%m-%d} by {line.last_by}"
        text = f"{count}, {last}; {_plan_words(line, plans.get(line.child))}"
        click.echo("\n".join(wrap(text, width(), f"{line.child:<{wide}}  ", " " * (wide + 2))))
    click.echo(f"Children: {len(lines)}", err=True)


@registry.command()
@click.option(
    "--against", type=click.Path(path_type=Path), help="Saved heads: a file from `registry heads`, or a backup."
)
@registry_options
def verify(against: Path | None, address: str | None, key_file: Path | None, ask_key: bool) -> None:
    """Check every hash, and with --against that nothing is missing at the end; exit 1 where something is wrong."""
    from pathway.registry.copies import verify as verified

    key = key_of(key_file, ask_key)
    with problems_told():
        from pathway.registry.store import open_registry

        known = None if against is None else _known_heads(against, key)
        with open_registry(address, key) as store:
            found = verified(store, known)
            name = store.place.name
    _tell(found, name)
    if known is None and not found.faults:
        click.echo("Entries removed from an end are only detected against saved heads: --against FILE.", err=True)


@registry.command()
@click.argument("file", type=click.Path(path_type=Path))
@registry_options
def backup(file: Path, address: str | None, key_file: Path | None, ask_key: bool) -> None:
    """Copy everything into a new FILE, with the heads of all chains, and verify the copy."""
    from pathway.registry.copies import back_up

    with opened(address, key_file, ask_key) as store:
        found = back_up(store, file)
    _tell(found, str(file))


@registry.command()
@click.argument("file", type=click.Path(path_type=Path))
@registry_options
def restore(file: Path, address: str | None, key_file: Path | None, ask_key: bool) -> None:
    """Copy a backup FILE to where there is no registry yet, and verify it."""
    from pathway.registry.copies import restore as restored
    from pathway.registry.place import place_of
    from pathway.registry.store import open_registry

    key = key_of(key_file, ask_key)
    with problems_told(), open_registry(str(file), key) as copy:
        found = restored(copy, address, None if place_of(address).server is not None else key)
        name = place_of(address).name
    _tell(found, name)


@registry.command()
@click.argument("child")
@click.option("--reason", required=True, help="Why, for those who read the chain later; no names.")
@click.option("--yes", is_flag=True, help="Do not ask for confirmation.")
@by_option
@registry_options
def erase(
    child: str, reason: str, yes: bool, by: str | None, address: str | None, key_file: Path | None, ask_key: bool
) -> None:
    """Delete everything that is known of a child; its chain of hashes stays and says when."""
    from pathway.registry.erasure import erase as erased

    with opened(address, key_file, ask_key) as store:
        if not yes and not click.confirm(f"Erase everything stored about {child}? This cannot be undone", err=True):
            click.echo("Nothing was erased.", err=True)
            return
        done = erased(store, child, reason=reason, who=name_of(by), when=now())
    click.echo(
        f"{child}: erased on {done.when:%Y-%m-%d}. Backups and exports made earlier still contain it: "
        "erase it there too."
    )


@registry.command()
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Write them to this new file, to keep elsewhere.")
@registry_options
@json_option
def heads(output: Path | None, address: str | None, key_file: Path | None, ask_key: bool, as_json: bool) -> None:
    """Print where every chain ends: keep it on paper or elsewhere, to verify against."""
    from pathway.registry.copies import heads as ends
    from pathway.registry.journal.heads import heads_json

    with opened(address, key_file, ask_key) as store:
        found = ends(store)
    if output is not None:
        write_new(output, heads_json(found, now()))
    elif as_json:
        click.echo(heads_json(found, now()), nl=False)
    else:
        for child, head in found.items():
            click.echo(f"{child} {head.count} {head.sha256}")


def _tell(found: Audit, name: str) -> None:
    for child, when in found.erased.items():
        click.echo(f"{child}: erased on {when:%Y-%m-%d}.")
    for fault in found.faults:
        click.echo(fault.sentence, err=True)
    count = f"{len(found.heads)} children, {found.entries} entries"
    if found.faults:
        click.echo(f"{name}: {count}, {len(found.faults)} faults.", err=True)
        sys.exit(CANNOT_PLAN)
    click.echo(f"{name}: {count}, every hash matches.")


def _known_heads(file: Path, key: str | None) -> dict[str, Head]:
    from pathway.registry.copies import kept_heads
    from pathway.registry.journal.heads import read_heads
    from pathway.registry.place import is_plain
    from pathway.registry.store import open_registry

    try:
        with file.open("rb") as opened_file:
            text = opened_file.read(1)
        if text == b"{":
            return read_heads(file.read_text(encoding="utf-8"), str(file))
        plain = is_plain(file)
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "not UTF-8"
        refuse(f"{file}: found heads that cannot be read ({why}), expected a file of heads or a backup; check it.")
    with open_registry(str(file), None if plain else key) as copy:
        return kept_heads(copy)


def _history(file: Path) -> tuple[Entry, ...]:
    from pathway.registry.exchange import read_history

    try:
        if file.is_file() and file.stat().st_size > MOST_HISTORY_BYTES:
            refuse(
                f"{file}: found {file.stat().st_size} bytes, expected at most {MOST_HISTORY_BYTES}; is it a history?"
            )
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "not UTF-8"
        refuse(f"{file}: found a history that cannot be read ({why}), expected a JSON file; check it.")
    return read_history(text, str(file))


def _folder(folder: Path) -> None:
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        refuse(f"{folder}: found no folder that can be created ({error.strerror}), expected a folder; name another.")


def _line_data(line: ChildLine, plan: StoredPlan | None) -> dict[str, Any]:
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


def _plan_words(line: ChildLine, plan: StoredPlan | None) -> str:
    if line.erased is not None:
        return f"erased on {line.erased:%Y-%m-%d}"
    if plan is None:
        return "no plan stored"
    later = "" if plan.head == line.head else " (entries were added since)"
    return f"{plan.summary.get('next') or 'no stage to come'}, planned on {plan.on}{later}"
