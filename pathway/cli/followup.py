"""The verbs `followup` and `compare` on case files: what new facts change, before anything is saved. An edge."""

from __future__ import annotations

import datetime
import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.cli.asked import Asked, child_verb, opened, protocol_of, tell_notes
from pathway.cli.errors import confirmed, note, refuse
from pathway.cli.options import (
    Day,
    RegistryOptions,
    as_day,
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
from pathway.problems import Problem, Refused, cannot
from pathway.protocol.question import Question

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pathway.children.resolve import Located
    from pathway.events import Event, FollowUp
    from pathway.protocol.model import Protocol
    from pathway.questions.followup import Preview
    from pathway.record import Record
    from pathway.registry.store import Registry

FILM = "standing_full_length_film"
MOST_SHEET_BYTES = 2_000_000
ASKED = ("femur_length_mm", "tibia_length_mm")
day_type = Day()


@click.command()
@child_verb
@click.option("--set", "settings", multiple=True, metavar="SIDE.FINDING=VALUE", help="A finding of this visit.")
@click.option("--method", default=FILM, metavar="METHOD", help=f"How it was measured; default: {FILM}.")
@click.option("--from", "fragment", type=click.Path(path_type=Path), help="A TOML file with [[visit]], [[operation]] …")
@click.option("--done", metavar="STAGE", help="An operation done on that day.")
@click.option("--gained-mm", type=float, help="The length that the operation achieved.")
@click.option(
    "--sheet",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The sheet of the osteotomy done, as it was used (`worksheet osteotomy --json`).",
)
@click.option("--physis", multiple=True, metavar="PLATE", help="A growth plate that was closed; may be repeated.")
@click.option("--device-off", type=day_type, callback=as_day, help="The day the device came off.")
@click.option("--complication", multiple=True, help="A complication, from the list of the protocol.")
@click.option("--waive", metavar="GATE", help="Waive a gate; give --reason.")
@click.option("--decline", metavar="STAGE", help="The family declines a stage; give --reason.")
@click.option("--prefer", metavar="WHAT", help="What the family prefers; give --reason.")
@click.option("--reason", help="The reason of a decision, in words.")
@click.option("--save/--discard", "save", default=None, help="Save or discard without asking.")
@by_option
@json_option
def followup(
    asked: Asked,
    settings: tuple[str, ...],
    method: str,
    fragment: Path | None,
    done: str | None,
    gained_mm: float | None,
    sheet: Path | None,
    physis: tuple[str, ...],
    device_off: datetime.date | None,
    complication: tuple[str, ...],
    waive: str | None,
    decline: str | None,
    prefer: str | None,
    reason: str | None,
    save: bool | None,
    by: str | None,
    as_json: bool,
) -> None:
    """Enter a visit, an operation done or a decision, and see what it changes in the plan before it is saved.

    Without options the lengths are asked for one by one. Saving adds to the file or to the child's entries; nothing
    that stands there is altered.
    """
    from pathway.children.case_files import text_of

    day, record, protocol = asked.on, asked.record, asked.protocol
    text = "" if fragment is None else text_of(fragment)
    if sheet is not None and done is None:
        refuse("--sheet", str(sheet), "the operation that it was used at too", "add --done STAGE")
    if not (settings or done or fragment or waive or decline or prefer):
        settings = _asked(record)
    tables: dict[str, list[dict[str, object]]] = {}
    if settings:
        tables["visit"] = [_visit(day, method, settings)]
    if done is not None:
        side = record.other_side if _lane(protocol, done) == "other_leg" else record.affected_side
        fields = {"kind": done, "date": day, "side": side, "achieved_mm": gained_mm, "physes": physis}
        planned = None if sheet is None else _planned(sheet, record)
        tables["operation"] = [
            {**fields, "device_removed": device_off, "complications": complication, "planned": planned}
        ]
    decided = {"waive_gate": ("gate", waive), "decline": ("stage", decline), "prefer": ("prefer", prefer)}
    tables["decision"] = [
        {"date": day, "by": "team" if kind == "waive_gate" else "family", "kind": kind, field: value, "reason": reason}
        for kind, (field, value) in decided.items()
        if value is not None
    ]
    events = (*_read(text, record, protocol, day, str(fragment)), *_typed(tables, record, protocol, day))
    _previewed(asked.question, events, as_json)
    if not _wanted(save, as_json):
        if save is None and not as_json:
            unasked = "" if sys.stdin.isatty() else ": there is no terminal to ask in; add --save to save it"
            note(f"Nothing was saved{unasked}.")
        return
    if asked.located.origin != "registry":
        as_written = text if not (settings or done or any(tables["decision"])) else ""
        _append(asked.located, events, protocol, as_written)
        return
    from pathway.events import rebase
    from pathway.registry.journal.chain import head_of
    from pathway.registry.journal.entry import StaleHead
    from pathway.registry.planning import save_followup
    from pathway.registry.store import open_registry

    child, head = record.child.id, head_of(asked.child.entries)
    with open_registry(asked.registry.address, asked.registry.key) as store:
        while True:
            kept = save_followup(store, child, events, head, who=name_of(by), when=now())
            if not isinstance(kept, StaleHead):
                note(f"Saved as entry {kept.head.count} of {child}.")
                return
            since = "; ".join(f"{entry.kind} by {entry.who} on {entry.when:%Y-%m-%d %H:%M}" for entry in kept.since)
            note(f"{child}: somebody else has saved since ({since}). Both together would change:")
            record, head = store.record_and_head(child)
            events = rebase(events, record)
            _previewed(asked.question.about(record), events, as_json)
            if not sys.stdin.isatty():
                raise cannot("", "Nothing was saved", "enter it again to save both together")
            if not confirmed("Save?"):
                return


def _planned(file: Path, record: Record) -> dict[str, object]:
    """Return the sheet that was used, as a table of a case file."""
    from pydantic import ValidationError

    from pathway.casefile import filled
    from pathway.files.reading import read_text
    from pathway.worksheets.osteotomy.kept import kept
    from pathway.worksheets.sheet import Sheet

    text = read_text(file, "a sheet (JSON)", MOST_SHEET_BYTES)
    try:
        sheet = Sheet.model_validate_json(text)
    except ValidationError:
        do = "write it with `worksheet osteotomy CASE --json`"
        refuse(str(file), "something else", "the sheet of an osteotomy as JSON", do)
    return filled(kept(sheet, record, str(file)).model_dump())


def _read(text: str, record: Record, protocol: Protocol, day: datetime.date, name: str) -> tuple[Event, ...]:
    """Return the events of a fragment; raises Refused with its faults."""
    from pathway.casefile import read_fragment

    return _sound(read_fragment(text, record.child, name, protocol, day)) if text else ()


def _typed(
    tables: Mapping[str, Sequence[Mapping[str, object]]], record: Record, protocol: Protocol, day: datetime.date
) -> tuple[Event, ...]:
    """Return the events of the options typed; raises Refused with their faults."""
    from pathway.casefile import filled, read_events

    given = {kind: [filled(table) for table in some] for kind, some in tables.items()}
    return _sound(read_events(given, record.child, "what was entered", protocol, day))


def _sound(read: FollowUp | tuple[Problem, ...]) -> tuple[Event, ...]:
    if isinstance(read, tuple):
        raise Refused(*read)
    return read.events


def _previewed(question: Question, events: Sequence[Event], as_json: bool) -> None:
    """Print what events change."""
    from pathway.events import apply
    from pathway.questions.followup import preview

    _questions(question.record, apply(question.record, events), question.protocol)
    _show(preview(question, events), as_json)


@click.command()
@click.argument("one", type=click.Path(path_type=Path))
@click.argument("other", type=click.Path(path_type=Path), required=False)
@registry_options
@on_option
@click.option("--before", type=day_type, callback=as_day, help="The date of the first plan, if different.")
@protocol_option
@json_option
def compare(
    one: Path,
    other: Path | None,
    where: RegistryOptions,
    on: datetime.date | None,
    before: datetime.date | None,
    overlay_dir: Path | None,
    as_json: bool,
) -> None:
    """Compare two plans of a child, with the fact that caused each change.

    ONE and OTHER name a child each (a case file, a child of the registry, an example); one alone on two days
    (--before); or two accepted plans of the registry: rowan-02@1 rowan-02@2.
    """
    from pathway.children.resolve import locate, read
    from pathway.events import diff
    from pathway.plan.make import make_plan
    from pathway.questions.followup import compared

    day = today(on)
    if other is None and before is None:
        refuse("compare", "one plan", "two, or one case file with the day of its first plan (--before)")
    other = other or one
    if "@" in one.name and "@" in other.name and not one.exists():
        with opened(where) as store:
            _show(_revisions(store, one.name, other.name, protocol_of(overlay_dir)), as_json)
        return
    registry, protocol = where.at(), protocol_of(overlay_dir)
    found = {word: locate(word, registry) for word in (one, other)}
    for known in found.values():
        tell_notes(known)
    old = read(found[one], protocol, max(before or day, day)).record
    new = read(found[other], protocol, day).record
    if old.child.id != new.child.id:
        what = f"{old.child.id} in {one} and {new.child.id} in {other}"
        refuse("compare", what, "one child", "give two files of the same child")
    old = old.until(before or day)
    earlier = make_plan(Question(old, protocol, before or day), compared=False)
    later = make_plan(Question(new, protocol, day), compared=False)
    _show(compared(old, earlier, diff(old, new), later, protocol), as_json)


def _revisions(store: Registry, one: str, other: str, protocol: Protocol) -> Preview:
    """Return what changed between two accepted plans of a child, named `id@number`."""
    from pathway.events import diff
    from pathway.plan.earlier import earlier_of
    from pathway.plan.model import Plan
    from pathway.questions.followup import compared
    from pathway.registry.journal.fold import accepted_plans, record_of

    found = []
    for name in (one, other):
        child, _, number = name.rpartition("@")
        entries = store.entries(child)
        accepted = {str(item.number): item for item in accepted_plans(entries)}
        if number not in accepted:
            names = ", ".join(f"{child}@{known}" for known in accepted) or "none"
            do = f"`registry revisions {child}` lists them"
            refuse("compare", f"no revision {name}", f"one of {names}", do)
        item = accepted[number]
        known = record_of([entry for entry in entries if entry.sequence <= item.entry.sequence])
        found.append((known, Plan.model_validate(item.revision.plan)))
    (old, before), (new, after) = found
    if old.child.id != new.child.id:
        refuse("compare", f"{one} and {other}", "one child", "give two revisions of the same child")
    return compared(old, before, diff(old, new), after, protocol, earlier=earlier_of(before))


def _lane(protocol: Protocol, stage: str) -> str:
    """Return the lane of a stage, "" where the protocol has none of that name (its reader will say so)."""
    return next((known.lane for known in protocol.stages if known.id == stage), "")


def _asked(record: Record) -> tuple[str, ...]:
    """Ask for the lengths of both legs, one by one; an empty answer leaves one out."""
    if not sys.stdin.isatty():
        remedy = "write for example --set left.femur_length_mm=183"
        refuse("followup", "nothing to enter", "--set, --from, --done or a decision", remedy)
    given = []
    for side in (record.affected_side, record.other_side):
        for finding in ASKED:
            value = click.prompt(
                f"{side} {finding.replace('_', ' ')} (empty: not measured)", default="", show_default=False
            )
            if value.strip():
                given.append(f"{side}.{finding}={value.strip()}")
    return tuple(given)


def _visit(day: datetime.date, method: str, settings: tuple[str, ...]) -> dict[str, object]:
    from pathway.casefile import values_of, visit_table

    values = values_of(settings)
    if not isinstance(values, dict):
        raise Refused(values)
    return visit_table(day, method, values)


def _questions(old: Record, new: Record, protocol: Protocol) -> None:
    """Ask back what is possible but unlikely; refuse what cannot be."""
    from pathway.growth import growth_faults, growth_questions

    faults = growth_faults(new, protocol)
    if faults:
        raise Refused(*faults)
    asked_before = growth_questions(old, protocol)
    for question in growth_questions(new, protocol):
        if question in asked_before:
            continue
        note(question)
        if sys.stdin.isatty() and not confirmed("Keep it?"):
            raise Refused(Problem("", "", None, "Nothing was saved", "", ""))


def _show(seen: Preview, as_json: bool) -> None:
    from pathway.views.data.plan_json import part_json
    from pathway.views.words.changes import changes_text, new_notices

    if not as_json:
        show(changes_text(seen, width()), nl=False)
        return
    changes = [{**asdict(change.difference), "because": change.because} for change in seen.changes]
    data: dict[str, object] = {"child": seen.after.child.id, "before": str(seen.before.on), "on": str(seen.after.on)}
    data |= {"entered": seen.entered, "changes": changes, "notices": new_notices(seen)}
    show_json(part_json({**data, "caution": seen.after.cautions[0].text}))


def _wanted(save: bool | None, as_json: bool) -> bool:
    if save is not None:
        return save
    return not as_json and sys.stdin.isatty() and confirmed("Save?")


def _append(found: Located, events: Sequence[Event], protocol: Protocol, as_written: str) -> None:
    """Add events to the case file, or say why they cannot be."""
    from pathway.children.case_files import text_of
    from pathway.children.file_storage import save_events

    if found.file is None:
        refuse(found.word, "an example child", "a file of your own", "copy it before you save to it")
    try:
        _, beside = save_events(found.file, text_of(found.file), events, protocol, as_written)
    except (OSError, ValueError) as error:
        words = error.strerror if isinstance(error, OSError) else error
        what, remedy = f"cannot be written ({words})", "nothing was saved. Check the folder and its permissions"
        raise Refused(Problem(str(found.file), "", None, what, "", remedy)) from error
    note(f"Saved in {found.file}{beside}.")
