"""The verbs that write files for other programs: calendar and record exchange. An edge."""

from __future__ import annotations

import datetime
import os
import sys
import tempfile
from collections.abc import Iterator
from importlib import metadata, util
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.cli.case import (
    BAD_INPUT,
    CANNOT_PLAN,
    MOST_BYTES,
    breaches_told,
    case_argument,
    on_option,
    today,
)
from pathway.cli.child import known_child
from pathway.cli.registry_options import key_of, registry_options
from pathway.cli.rules import protocol_of, protocol_option, rules

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pathway.exports.calendar.agenda import Entry
    from pathway.exports.calendar.ics import Earlier
    from pathway.plan.model import Plan
    from pathway.protocol.model import Protocol
    from pathway.record import Record

output_option = click.option(
    "-o",
    "--output",
    "out",
    type=click.Path(path_type=Path, dir_okay=False),
    help="File to write; printed if not given.",
)
stamp_option = click.option(
    "--stamp",
    type=click.DateTime(["%Y-%m-%dT%H:%M:%SZ"]),
    help="Time stamp of the file (UTC, 2026-11-25T08:00:00Z); default: now.",
)


@click.command()
@case_argument
@output_option
@click.option("--lengthening", metavar="STAGE", help="Add every day of one lengthening, such as femoral_lengthening_1.")
@click.option(
    "--previous",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The file sent earlier: changed entries get a higher number, dropped ones are cancelled.",
)
@stamp_option
@on_option
@protocol_option
@registry_options
def calendar(
    case: Path,
    out: Path | None,
    lengthening: str | None,
    previous: Path | None,
    stamp: datetime.datetime | None,
    on: datetime.date | None,
    clinic: Path | None,
    address: str | None,
    key_file: Path | None,
    ask_key: bool,
) -> None:
    """Write the plan as a calendar (ICS): stages, examinations before them, follow-ups. All days may still move.

    A later file replaces the entries of an earlier one: each keeps its name, and its number grows with the day of
    the plan. For two files of one day, or to call off what fell away, name the earlier file with --previous.
    """
    from pathway.exports.calendar.agenda import PLAN_PART, agenda
    from pathway.exports.calendar.ics import NoEntry, calendar_bytes
    from pathway.exports.calendar.turning import part_of
    from pathway.rule_engine.facts import facts_on

    day, protocol = today(on), protocol_of(clinic)
    record = known_child(case, protocol, day, address, key_of(key_file, ask_key)).record
    before = None if previous is None else _previous(previous)
    made = _plan(record, protocol, day, str(case))
    entries = list(agenda(made, protocol, facts_on(record.until(day), protocol, day, None)))
    parts = [PLAN_PART]
    if lengthening is not None:
        entries += _lengthening(made, record, protocol, lengthening)
        parts.append(part_of(lengthening))
    about = f"{made.cautions[0].text} Planned as of {day} with {protocol.name} {protocol.version}."
    try:
        data = calendar_bytes(made.child.id, entries, day, _moment(stamp), about, before, parts)
    except NoEntry:
        click.echo(f"{case}: no stage of the plan has a date, so there is no calendar to write; see `plan`.", err=True)
        sys.exit(CANNOT_PLAN)
    _write(data, out)
    _told(made)


@click.command()
@click.argument("cases", nargs=-1, required=True, type=click.Path(path_type=Path))
@output_option
@click.option("--ndjson", is_flag=True, help="One document per line, for any number of case files.")
@stamp_option
@on_option
@protocol_option
@registry_options
def fhir(
    cases: tuple[Path, ...],
    out: Path | None,
    ndjson: bool,
    stamp: datetime.datetime | None,
    on: datetime.date | None,
    clinic: Path | None,
    address: str | None,
    key_file: Path | None,
    ask_key: bool,
) -> None:
    """Write the plan as a document for a record system (FHIR R4, JSON); needs the extra `fhir`.

    Of the child it tells the pseudonym, sex, side and findings; no birth date and no note.
    """
    _needs_fhir()
    if len(cases) > 1 and not ndjson:
        click.echo(f"found {len(cases)} case files, expected one; add --ndjson for one document per line.", err=True)
        sys.exit(BAD_INPUT)
    day, moment, protocol, key = today(on), _moment(stamp), protocol_of(clinic), key_of(key_file, ask_key)
    if not ndjson:
        record = known_child(cases[0], protocol, day, address, key).record
        made = _plan(record, protocol, day, str(cases[0]))
        _write((_document(made, record, protocol, moment) + "\n").encode(), out)
        _told(made)
        return
    failed: list[int] = []
    _write(_lines(cases, protocol, day, moment, failed, address, key), out)
    if failed:
        click.echo(f"{len(failed)} of {len(cases)} case files produced no document; they are named above.", err=True)
        sys.exit(max(failed))


@rules.command("export")
@output_option
@protocol_option
def export(out: Path | None, clinic: Path | None) -> None:
    """Write the rules as PlanDefinitions (FHIR R4, JSON): one a stage, one for their order; needs the extra `fhir`."""
    _needs_fhir()
    from pathway.exports.fhir.checked import checked
    from pathway.exports.fhir.rules import rules_bundle

    _write((checked(rules_bundle(protocol_of(clinic))) + "\n").encode(), out)


def _lines(
    cases: tuple[Path, ...],
    protocol: Protocol,
    day: datetime.date,
    moment: datetime.datetime,
    failed: list[int],
    address: str | None = None,
    key: str | None = None,
) -> Iterator[bytes]:
    """Yield one document after the other, never two at once in memory; a case that fails is told and passed over."""
    with click.progressbar(cases, label="Planning", file=sys.stderr, hidden=not sys.stderr.isatty()) as shown:
        for case in shown:
            try:
                record = known_child(case, protocol, day, address, key).record
                text = _document(_plan(record, protocol, day, str(case)), record, protocol, moment)
            except SystemExit as left:
                failed.append(left.code if isinstance(left.code, int) else CANNOT_PLAN)
                continue
            yield (text + "\n").encode()


def _document(made: Plan, record: Record, protocol: Protocol, moment: datetime.datetime) -> str:
    from pathway.exports.fhir.bundle import document
    from pathway.exports.fhir.checked import NotSound, checked

    try:
        return checked(document(made, record, protocol, moment, _version()))
    except NotSound as error:
        click.echo(f"{made.child.id}: internal error, no document is written: {error}. Please report it.", err=True)
        sys.exit(CANNOT_PLAN)


def _version() -> str:
    try:
        return metadata.version("limb-pathway")
    except metadata.PackageNotFoundError:
        return "not installed"


def _plan(record: Record, protocol: Protocol, day: datetime.date, name: str) -> Plan:
    from pathway.plan.make import make_plan

    with breaches_told(name):
        return make_plan(record, protocol, day)


def _lengthening(made: Plan, record: Record, protocol: Protocol, wanted: str) -> tuple[Entry, ...]:
    from pathway.exports.calendar.turning import turning_agenda
    from pathway.growth import fit_growth
    from pathway.rule_engine.facts import known_steps
    from pathway.worksheets.case import case_of
    from pathway.worksheets.kinds import stage_of
    from pathway.worksheets.lengthening.worksheet import worked
    from pathway.worksheets.sheet import InputProblem

    until = record.until(made.on)
    posterior = fit_growth(until, protocol, made.on, known_steps=known_steps(until, protocol, made.on))
    try:
        stage = stage_of("lengthening", made, wanted)
        assert stage is not None  # a name was asked for
        return turning_agenda(made, stage, worked(case_of(until, protocol, made.on, made, stage, posterior), {}))
    except InputProblem as error:
        click.echo(str(error), err=True)
        sys.exit(BAD_INPUT)


def _previous(path: Path) -> Mapping[str, Earlier]:
    from pathway.exports.calendar.ics import read_previous
    from pathway.problems import Fault

    try:
        with path.open("rb") as file:
            found = read_previous(file.read(MOST_BYTES), str(path))
    except OSError as error:
        click.echo(f"{path}: cannot be read ({error.strerror}); name the file that was sent before.", err=True)
        sys.exit(BAD_INPUT)
    if isinstance(found, Fault):
        click.echo(found.sentence, err=True)
        sys.exit(BAD_INPUT)
    return found


def _told(made: Plan) -> None:
    """Tell why a plan that was written has conflicts; leaves with exit 1 where it has."""
    for item in made.conflicts:
        click.echo(item.explanation, err=True)
    if made.conflicts:
        sys.exit(CANNOT_PLAN)


def _needs_fhir() -> None:
    if util.find_spec("fhir") is None or util.find_spec("fhir.resources") is None:
        click.echo("found no FHIR models, expected the extra `fhir`; run: pip install 'limb-pathway[fhir]'.", err=True)
        sys.exit(BAD_INPUT)


def _moment(stamp: datetime.datetime | None) -> datetime.datetime:
    if stamp is not None:
        return stamp.replace(tzinfo=datetime.UTC)
    return datetime.datetime.now(datetime.UTC).replace(microsecond=0)


def _write(data: bytes | Iterator[bytes], out: Path | None) -> None:
    """Write to the file at once or not at all, else to standard output; leaves with a sentence where it cannot."""
    chunks = iter((data,)) if isinstance(data, bytes) else data
    if out is None:
        for chunk in chunks:
            click.echo(chunk, nl=False)
        return
    try:
        handle, name = tempfile.mkstemp(prefix=f".{out.name}.", dir=out.parent)
    except OSError as error:
        click.echo(f"{out}: cannot be written ({error.strerror}); check the folder and its permissions.", err=True)
        sys.exit(BAD_INPUT)
    try:
        with os.fdopen(handle, "wb") as file:
            for chunk in chunks:
                file.write(chunk)
        Path(name).chmod(0o600)
        Path(name).replace(out)
    except OSError as error:
        click.echo(f"{out}: cannot be written ({error.strerror}); check the disk and the folder.", err=True)
        sys.exit(BAD_INPUT)
    finally:
        Path(name).unlink(missing_ok=True)
