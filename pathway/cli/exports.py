"""The verbs that write files for other programs: calendar and record exchange. An edge."""

from __future__ import annotations

import datetime
import sys
from collections.abc import Iterator
from importlib import util
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway import __version__
from pathway.children.case_files import MOST_BYTES
from pathway.cli.asked import Asked, child_verb, protocol_of, tell_notes
from pathway.cli.documents import chosen_words, language_option, wording_option
from pathway.cli.errors import leave, leave_with_conflicts, note, refuse, tell
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
from pathway.cli.rules import rules
from pathway.files.kinds import CALENDAR, FHIR_PLAN, FHIR_RULES, Kind
from pathway.files.reading import checked_text, read_bytes
from pathway.files.writing import write_out
from pathway.problems import Problem, Refused
from pathway.protocol.question import Question

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pathway.children.resolve import RegistryAt
    from pathway.exports.calendar.agenda import Clinic, Entry
    from pathway.exports.calendar.ics import Earlier
    from pathway.plan.model import Plan
    from pathway.protocol.model import Protocol
    from pathway.record import Record

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
    from pathway.exports.calendar.agenda import PLAN_PART, Clinic, agenda
    from pathway.exports.calendar.ics import calendar_bytes
    from pathway.exports.calendar.turning import part_of
    from pathway.rule_engine.facts import facts_on
    from pathway.timing.calendar import calendar_of
    from pathway.views.words.family_terms import caution_of

    if settings and lengthening is None:
        refuse("--set", repr(settings[0]), "no setting without --lengthening", "name the stage with --lengthening")
    before = None if previous is None else _previous(previous)
    day, protocol, record, made = asked.on, asked.protocol, asked.record, asked.plan
    words = chosen_words(language, own, protocol)
    clinic = Clinic(protocol, calendar_of(record, protocol), words)
    entries = list(agenda(made, facts_on(Question(record.until(day), protocol, day), None), clinic))
    parts = [PLAN_PART]
    if lengthening is not None:
        entries += _lengthening(made, record, clinic, lengthening, by_name(settings))
        parts.append(part_of(lengthening))
    rules_named = {"rules": protocol.name, "version": protocol.version}
    about = words.say("calendar.about", caution=caution_of(made, words), day=day, **rules_named)
    made_of = (previous, own, *asked.files)
    data = calendar_bytes(made.child.id, entries, day, _moment(stamp), about, words, before, parts)
    _write(data, out, CALENDAR, *made_of)
    leave_with_conflicts(made)


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
    _needs_fhir()
    if len(cases) > 1 and not ndjson:
        refuse("", f"{len(cases)} case files", "one", "add --ndjson for one document per line")
    moment = _moment(stamp)
    if not ndjson:
        asked = Asked(cases[0], on, overlay_dir, where)
        text = _document(asked.plan, asked.record, asked.protocol, moment) + "\n"
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


@rules.command("export", short_help="the rules as PlanDefinitions (FHIR R4)")
@output_options()
@protocol_option
def export(out: Output, overlay_dir: Path | None) -> None:
    """Write the rules as PlanDefinitions (FHIR R4, JSON): one a stage, one for their order; needs the extra `fhir`."""
    _needs_fhir()
    from pathway.exports.fhir.checked import checked
    from pathway.exports.fhir.rules import rules_bundle

    _write((checked(rules_bundle(protocol_of(overlay_dir))) + "\n").encode(), out, FHIR_RULES)


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
                text = _document(make_plan(asked, compared=False), child.record, protocol, moment)
            except Refused as error:
                failed.append(tell(error))
                continue
            yield (text + "\n").encode()


def _document(made: Plan, record: Record, protocol: Protocol, moment: datetime.datetime) -> str:
    from pathway.exports.fhir.bundle import document
    from pathway.exports.fhir.checked import checked

    return checked(document(made, record, protocol, moment, __version__))


def _lengthening(
    made: Plan, record: Record, clinic: Clinic, wanted: str, settings: Mapping[str, str]
) -> tuple[Entry, ...]:
    """Return the days of a lengthening as its worksheet has them; what that asks back is said beside the file."""
    from pathway.exports.calendar.turning import turning_agenda
    from pathway.growth import fit_growth
    from pathway.rule_engine.facts import known_steps
    from pathway.worksheets.case import case_of
    from pathway.worksheets.kinds import stage_of
    from pathway.worksheets.lengthening.worksheet import worked

    protocol = clinic.protocol
    question = Question(record, protocol, made.on).as_known()
    posterior = fit_growth(question, known_steps=known_steps(question))
    stage = stage_of("lengthening", made, protocol, wanted)
    assert stage is not None  # a name was asked for
    found = worked(case_of(question, made, stage, posterior), settings)
    for asked_back in found.so_far.questions:
        note(asked_back.text)
    if found.given.held:
        note("No day of turning is written until the film is repeated: the file says so instead.")
    return turning_agenda(made, stage, found, clinic)


def _previous(path: Path) -> Mapping[str, Earlier]:
    from pathway.exports.calendar.ics import read_previous

    data = read_bytes(path, "the calendar that was sent before", MOST_BYTES, missing="name the file that was sent")
    found = read_previous(checked_text(data, str(path), "a calendar").encode(), str(path))
    if isinstance(found, Problem):
        raise Refused(found)
    return found


def _each(cases: tuple[Path, ...]) -> tuple[Path, ...]:
    """Return the words with the files of a folder in its place."""
    from pathway.children.case_files import files_in

    return tuple(one for case in cases for one in (files_in(case) if case.is_dir() else (case,)))


def _needs_fhir() -> None:
    if util.find_spec("fhir") is None or util.find_spec("fhir.resources") is None:
        refuse("", "no FHIR models", "the extra `fhir`", "run: pip install 'limb-pathway[fhir]'")


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
