"""The verb that prints a worksheet: read the case, plan, open the stage, print. An edge."""

from __future__ import annotations

import datetime
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.cli.case import BAD_INPUT, case_argument, on_option, plain_option, read_case_file, taken_in, today
from pathway.cli.rules import json_option, protocol_option, width, with_headings, words_only

if TYPE_CHECKING:
    from pathway.plan.model import Plan
    from pathway.protocol.model import Protocol
    from pathway.record import Record
    from pathway.worksheets.sheet import Kind, Sheet

KINDS = ("osteotomy", "lengthening", "growth-arrest", "guided-growth", "lift")


@click.command()
@click.argument("kind", type=click.Choice(KINDS))
@case_argument
@click.option("--stage", metavar="ID", help="Stage of the plan, such as femoral_lengthening_2; default: the next one.")
@click.option("--set", "settings", multiple=True, metavar="NAME=VALUE", help="Set an input by hand; may be repeated.")
@on_option
@protocol_option
@json_option
@plain_option
@click.option("--svg", "as_svg", is_flag=True, help="Print only the drawing, as SVG.")
def worksheet(
    kind: Kind,
    case: Path,
    stage: str | None,
    settings: tuple[str, ...],
    on: datetime.date | None,
    clinic: Path | None,
    as_json: bool,
    plain: bool,
    as_svg: bool,
) -> None:
    """Work out the numbers of one operation: KIND is one of those above, CASE a case file.

    The inputs come from the case, the plan's stage and the protocol; each may be set by hand. Check every
    number against the radiograph.
    """
    from pathway.views.words.worksheet import worksheet_text
    from pathway.worksheets.sheet import InputProblem

    day = today(on)
    record, protocol = taken_in(read_case_file(case), str(case), day, clinic)
    try:
        sheet = _sheet(kind, record, protocol, day, stage, _by_name(settings))
    except InputProblem as error:
        click.echo(str(error), err=True)
        sys.exit(BAD_INPUT)
    if as_svg:
        _print_svg(sheet)
        return
    if as_json:
        click.echo(sheet.model_dump_json(indent=2))
        return
    click.echo(with_headings(worksheet_text(sheet, width(), plain=words_only(plain))), nl=False)


def _sheet(
    kind: Kind, record: Record, protocol: Protocol, on: datetime.date, stage: str | None, settings: dict[str, str]
) -> Sheet:
    from pathway.growth import fit_growth
    from pathway.rule_engine.facts import known_steps
    from pathway.worksheets.case import case_of
    from pathway.worksheets.kinds import KINDS, stage_of

    plan = _plan(record, protocol, on)
    steps = known_steps(record, protocol, on)
    posterior = fit_growth(record.until(on), protocol, on, known_steps=steps)
    opened = stage_of(kind, plan, stage) if plan is not None else None
    return KINDS[kind].make(case_of(record, protocol, on, plan, opened, posterior), settings)


def plan_with_sheets(record: Record, protocol: Protocol, on: datetime.date) -> tuple[Plan, tuple[Sheet, ...]]:
    """Return the plan with the worksheet of every operation to come; leaves with a sentence where one cannot be made.

    Raises PlanBreach as `make_plan` does.
    """
    from pathway.plan.make import make_plan
    from pathway.worksheets.of_plan import sheets_of
    from pathway.worksheets.sheet import InputProblem

    made = make_plan(record, protocol, on)
    try:
        return made, sheets_of(record, protocol, on, made)
    except InputProblem as error:
        click.echo(str(error), err=True)
        sys.exit(BAD_INPUT)


def _print_svg(sheet: Sheet) -> None:
    from pathway.views.drawings.schematic import svg

    if not sheet.drawings:
        wanted = next((warning.text for warning in sheet.warnings if "--set" in warning.text), "print it as text")
        click.echo(f"worksheet {sheet.kind}: found no drawing, expected one to print; {wanted}", err=True)
        sys.exit(BAD_INPUT)
    click.echo(svg(sheet.drawings[0]), nl=False)


def _plan(record: Record, protocol: Protocol, on: datetime.date) -> Plan | None:
    """Return the plan, or None where it would break a rule: a worksheet can still be filled by hand."""
    from pathway.plan.make import PlanBreach, make_plan

    try:
        return make_plan(record, protocol, on)
    except PlanBreach as error:
        click.echo(
            f"The plan breaks its own rules ({error}): please report it. This sheet was made without it.", err=True
        )
        return None


def _by_name(settings: tuple[str, ...]) -> dict[str, str]:
    """Return the settings by name, the last one of a name counting; leaves with a sentence where one has no `=`."""
    found = {}
    for text in settings:
        name, equals, value = text.partition("=")
        if not equals or not name.strip():
            click.echo(f"--set: found {text!r}, expected name=value; write for example --set amount_mm=50.", err=True)
            sys.exit(BAD_INPUT)
        found[name.strip()] = value
    return found
