"""The verbs that write files for other programs: calendar and record exchange. An edge."""

from __future__ import annotations

import datetime
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.children import papers
from pathway.children.case_files import MOST_BYTES
from pathway.cli.asked import Asked, child_verb, protocol_of, tell_notes
from pathway.cli.documents import chosen_words, language_option, wording_option
from pathway.cli.errors import leave, leave_with_conflicts, needs_fhir, note, refuse, tell
from pathway.cli.options import (
    Output,
    RegistryOptions,
    now,
    on_option,
    output_options,
    protocol_option,
    registry_options,
    today,
)
from pathway.cli.printing import show_bytes
from pathway.files.kinds import CALENDAR, FHIR_PLAN, Kind
from pathway.files.reading import read_bytes
from pathway.files.writing import write_out
from pathway.problems import Refused
from pathway.protocol.question import Question

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pathway.children.resolve import RegistryAt
    from pathway.exports.calendar.ics import Earlier
    from pathway.protocol.model import Protocol

stamp_option = click.option(
    "--stamp",
    type=click.DateTime(["%Y-%m-%dT%H:%M:%SZ"]),
    help="Time stamp of the file (UTC, 2026-11-25T08:00:00Z); default: now.",
)


@click.command()
@child_verb
@output_options()
@click.option("--lengthening", metavar="STAGE", help="Add every day of one lengthening, such as femoral_lengthening_1.")
@click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="NAME=VALUE",
    help="With --lengthening: set an input of its worksheet, as `worksheet` takes it; may be repeated.",
)
@click.option(
    "--previous",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The file sent earlier: changed entries get a higher number, dropped ones are cancelled.",
)
@language_option
@wording_option
@stamp_option
def calendar(
    asked: Asked,
    out: Output,
    lengthening: str | None,
    settings: tuple[str, ...],
    previous: Path | None,
    language: str,
    own: Path | None,
    stamp: datetime.datetime | None,
) -> None:
    """Write the plan as a calendar (ICS) in plain words: steps, visits before and after them. All days may still move.

    A later file replaces the entries of an earlier one: each keeps its name, and its number grows with the day of
    the plan. For two files of one day, or to call off what fell away, name the earlier file with --previous.
    """
    from pathway.cli.worksheet import by_name

    if settings and lengthening is None:
        refuse("--set", repr(settings[0]), "no setting without --lengthening", "name the stage with --lengthening")
    before = None if previous is None else _previous(previous)
    words = chosen_words(language, own, asked.protocol)
    turned = {} if lengthening is None else {lengthening: by_name(settings)}
    found = papers.calendar(asked.plan, asked.question, words, _moment(stamp), turned, before)
    for sentence in found.beside:
        note(sentence)
    made_of = (previous, own, *asked.files)
    _write(found.data, out, CALENDAR, *made_of)
    leave_with_conflicts(asked.plan)


@click.command()
@click.argument("cases", nargs=-1, required=True, type=click.Path(path_type=Path))
@output_options()
@click.option("--ndjson", is_flag=True, help="One document per line, for any number of case files.")
@stamp_option
@on_option
@protocol_option
@registry_options
def fhir(
    cases: tuple[Path, ...],
    out: Output,
    ndjson: bool,
    stamp: datetime.datetime | None,
    on: datetime.date | None,
    overlay_dir: Path | None,
    where: RegistryOptions,
) -> None:
    """Write the plan as a document for a record system (FHIR R4, JSON); needs the extra `fhir`.

    Of the child it tells the pseudonym, sex, side and findings; no birth date and no note.
    """
    needs_fhir()
    if len(cases) > 1 and not ndjson:
        refuse("", f"{len(cases)} case files", "one", "add --ndjson for one document per line")
    moment = _moment(stamp)
    if not ndjson:
        asked = Asked(cases[0], on, overlay_dir, where)
        text = papers.record_document(asked.plan, asked.record, asked.protocol, moment)
        _write(text.encode(), out, FHIR_PLAN, *asked.files)
        leave_with_conflicts(asked.plan)
        return
    failed: list[int] = []
    day, protocol, registry = today(on), protocol_of(overlay_dir), where.at()
    several = _each(cases)
    _write(_lines(several, protocol, day, moment, failed, registry), out, FHIR_PLAN, *several, *where.files)
    if failed:
        note(f"{len(failed)} of {len(several)} case files produced no document; they are named above.")
        leave(max(failed))


def _lines(
    cases: tuple[Path, ...],
    protocol: Protocol,
    day: datetime.date,
    moment: datetime.datetime,
    failed: list[int],
    registry: RegistryAt,
) -> Iterator[bytes]:
    """Yield one document after the other, never two at once in memory; a case that fails is told and passed over."""
    from pathway.children.resolve import locate, read
    from pathway.plan.make import make_plan
    from pathway.registry.journal.fold import earlier_operations

    with click.progressbar(cases, label="Planning", file=sys.stderr, hidden=not sys.stderr.isatty()) as shown:
        for case in shown:
            try:
                found = locate(case, registry)
                tell_notes(found)
                child = read(found, protocol, day)
                asked = Question(child.record, protocol, day, earlier=earlier_operations(child.entries))
                text = papers.record_document(make_plan(asked, compared=False), child.record, protocol, moment)
            except Refused as error:
                failed.append(tell(error))
                continue
            yield text.encode()


def _previous(path: Path) -> Mapping[str, Earlier]:
    data = read_bytes(path, "the calendar that was sent before", MOST_BYTES, missing="name the file that was sent")
    return papers.earlier_entries(data, str(path))


def _each(cases: tuple[Path, ...]) -> tuple[Path, ...]:
    """Return the words with the files of a folder in its place."""
    from pathway.children.case_files import files_in

    return tuple(one for case in cases for one in (files_in(case) if case.is_dir() else (case,)))


def _moment(stamp: datetime.datetime | None) -> datetime.datetime:
    if stamp is not None:
        return stamp.replace(tzinfo=datetime.UTC)
    return now().replace(microsecond=0)


def _write(data: bytes | Iterator[bytes], out: Output, kind: Kind, *inputs: Path | None) -> None:
    """Write to the file at once or not at all, else to standard output; leaves with a sentence where it cannot."""
    if out.file is None:
        for chunk in (data,) if isinstance(data, bytes) else data:
            show_bytes(chunk)
        return
    write_out(out.to(kind, *inputs), data)
    note(f"Wrote {out.file}.")
