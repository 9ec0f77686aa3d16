"""The verbs `followup` and `compare` on case files: what new facts change, before anything is saved. An edge."""

from __future__ import annotations

import datetime
import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import click

from pathway.cli_case import (
    BAD_INPUT,
    as_day,
    breaches_told,
    case_argument,
    has_example,
    on_option,
    read_case_file,
    taken_in,
    today,
)
from pathway.cli_rules import json_option, protocol_option, width

if TYPE_CHECKING:
    from pathway.followup import Preview
    from pathway.protocol.model import Protocol
    from pathway.record import Record

FILM = "standing_full_length_film"
ASKED = ("femur_length_mm", "tibia_length_mm")
day_type = click.DateTime(["%Y-%m-%d"])


@click.command()
@case_argument
@click.option("--set", "settings", multiple=True, metavar="SIDE.FINDING=VALUE", help="A finding of this visit.")
@click.option("--method", default=FILM, metavar="METHOD", help=f"How it was measured; {FILM} where not given.")
@click.option("--from", "fragment", type=click.Path(path_type=Path), help="A TOML file with [[visit]], [[operation]] …")
@click.option("--done", metavar="STAGE", help="An operation that was done on the day.")
@click.option("--gained-mm", type=float, help="The length that the operation really gained.")
@click.option("--physis", multiple=True, metavar="PLATE", help="A growth plate that was closed; may be given again.")
@click.option("--device-off", type=day_type, callback=as_day, help="The day the device came off.")
@click.option("--complication", multiple=True, help="A complication, from the list of the protocol.")
@click.option("--waive", metavar="GATE", help="Waive a gate; give --reason.")
@click.option("--decline", metavar="STAGE", help="The family declines a stage; give --reason.")
@click.option("--prefer", metavar="WHAT", help="What the family prefers; give --reason.")
@click.option("--reason", help="The reason of a decision, in words.")
@click.option("--save/--discard", "save", default=None, help="Save or discard without being asked.")
@on_option
@protocol_option
@json_option
def followup(
    case: Path,
    settings: tuple[str, ...],
    method: str,
    fragment: Path | None,
    done: str | None,
    gained_mm: float | None,
    physis: tuple[str, ...],
    device_off: datetime.date | None,
    complication: tuple[str, ...],
    waive: str | None,
    decline: str | None,
    prefer: str | None,
    reason: str | None,
    save: bool | None,
    on: datetime.date | None,
    clinic: Path | None,
    as_json: bool,
) -> None:
    """Enter a visit, an operation done or a decision, and see what it changes in the plan before it is saved.

    Without options the lengths are asked for one by one. Saving adds to the case file; nothing in it is altered.
    """
    from pathway.casefile import table_fragment, with_fragment
    from pathway.followup import preview

    day, text = today(on), read_case_file(case)
    record, protocol = taken_in(text, str(case), day, clinic)
    parts: list[str] = []
    decided = {"waive_gate": ("gate", waive), "decline": ("stage", decline), "prefer": ("prefer", prefer)}
    if fragment is not None:
        parts.append(read_case_file(fragment))
    if not (settings or done or fragment or waive or decline or prefer):
        settings = _asked(record)
    if settings:
        parts.append(_visit(day, method, settings))
    if done is not None:
        side = record.other_side if protocol_lane(protocol, done) == "other_leg" else record.affected_side
        fields = {"kind": done, "date": day, "side": side, "achieved_mm": gained_mm, "physes": physis}
        parts.append(
            table_fragment("operation", {**fields, "device_removed": device_off, "complications": complication})
        )
    for kind, (field, value) in decided.items():
        if value is not None:
            by = "team" if kind == "waive_gate" else "family"
            given = {"date": day, "by": by, "kind": kind, field: value, "reason": reason or ""}
            parts.append(table_fragment("decision", given))
    entered = "\n".join(parts)
    new = with_fragment(record, entered, "what was entered", protocol, day)
    if isinstance(new, tuple):
        _refuse("\n".join(fault.sentence for fault in new))
    _questions(record, new, protocol)
    with breaches_told(str(case)):
        seen = preview(record, new, protocol, day)
    _show(seen, as_json)
    if _wanted(save, as_json):
        _append(case, entered)


@click.command()
@click.argument("one", type=click.Path(path_type=Path))
@click.argument("other", type=click.Path(path_type=Path))
@on_option
@click.option("--before", type=day_type, callback=as_day, help="The day of the first plan, where it is another one.")
@protocol_option
@json_option
def compare(
    one: Path, other: Path, on: datetime.date | None, before: datetime.date | None, clinic: Path | None, as_json: bool
) -> None:
    """Compare the plans of two case files of a child, or of one file on two days (--before), with the causes."""
    from pathway.followup import preview

    day = today(on)
    old, protocol = taken_in(read_case_file(one), str(one), before or day, clinic)
    new, _ = taken_in(read_case_file(other), str(other), day, clinic)
    if old.child.id != new.child.id:
        _refuse(
            f"compare: found {old.child.id} in {one} and {new.child.id} in {other}, expected one child; "
            "give two files of the same child."
        )
    with breaches_told(str(other)):
        _show(preview(old.until(before or day), new, protocol, day, since=before), as_json)


def protocol_lane(protocol: Protocol, stage: str) -> str:
    """Return the lane of a stage, "" where the protocol has none of that name (its reader will say so)."""
    return next((known.lane for known in protocol.stages if known.id == stage), "")


def _asked(record: Record) -> tuple[str, ...]:
    """Ask for the lengths of both legs, one by one; an empty answer leaves one out."""
    if not sys.stdin.isatty():
        _refuse(
            "followup: found nothing to enter, expected --set, --from, --done or a decision; "
            "write for example --set left.femur_length_mm=183."
        )
    given = []
    for side in (record.affected_side, record.other_side):
        for finding in ASKED:
            value = click.prompt(
                f"{side} {finding.replace('_', ' ')} (empty: not measured)", default="", show_default=False
            )
            if value.strip():
                given.append(f"{side}.{finding}={value.strip()}")
    return tuple(given)


def _visit(day: datetime.date, method: str, settings: tuple[str, ...]) -> str:
    from pathway.casefile import visit_fragment

    made = visit_fragment(day, method, settings)
    if not isinstance(made, str):
        _refuse(made.sentence)
    return made


def _questions(old: Record, new: Record, protocol: Protocol) -> None:
    """Ask back what is possible but unlikely; refuse what cannot be."""
    from pathway.growth import growth_faults, growth_questions

    faults = growth_faults(new, protocol)
    if faults:
        _refuse("\n".join(fault.sentence for fault in faults))
    for question in growth_questions(new, protocol):
        if question in growth_questions(old, protocol):
            continue
        click.echo(question, err=True)
        if sys.stdin.isatty() and not click.confirm("Keep it?", err=True):
            _refuse("Nothing was saved.")


def _show(seen: Preview, as_json: bool) -> None:
    from pathway.output.changes_text import changes_text
    from pathway.output.json import part_json

    if not as_json:
        click.echo(changes_text(seen, width()), nl=False)
        return
    changes = [{**asdict(change.difference), "because": change.because} for change in seen.changes]
    data = {"child": seen.after.child.id, "before": str(seen.before.on), "on": str(seen.after.on)}
    click.echo(part_json({**data, "entered": seen.entered, "changes": changes, "caution": seen.after.cautions[0].text}))


def _wanted(save: bool | None, as_json: bool) -> bool:
    if save is not None:
        return save
    return not as_json and sys.stdin.isatty() and click.confirm("Save?", default=False, err=True)


def _append(case: Path, entered: str) -> None:
    """Add what was entered at the end of the case file, or say why it cannot be."""
    if not case.exists() and has_example(case.name):
        _refuse(f"{case}: found an example child, expected a file of yours; copy it before you save to it.")
    try:
        with case.open("a", encoding="utf-8") as file:
            file.write(f"\n{entered}")
    except OSError as error:
        _refuse(
            f"{case}: cannot be written ({error.strerror}); nothing was saved. Check the folder and its permissions."
        )
    click.echo(f"Saved in {case}.", err=True)


def _refuse(text: str) -> NoReturn:
    click.echo(text, err=True)
    sys.exit(BAD_INPUT)
