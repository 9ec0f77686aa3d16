"""The verb that prints a worksheet: read the case, plan, open the stage, print. An edge."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from pathway.cli.asked import Asked, child_verb
from pathway.cli.errors import note, refuse
from pathway.cli.options import json_option, plain_option
from pathway.cli.printing import show, show_json, show_with_headings, width, words_only
from pathway.protocol.question import Question

if TYPE_CHECKING:
    from pathway.plan.model import Plan
    from pathway.worksheets.case import Case
    from pathway.worksheets.sheet import Kind, Sheet

ADDED_UP = ("visits",)
KINDS = ("axis", "osteotomy", "lengthening", "growth-arrest", "guided-growth", "lift")


@click.command()
@click.argument("kind", type=click.Choice(KINDS))
@child_verb
@click.option("--stage", metavar="ID", help="Stage of the plan, such as femoral_lengthening_2; default: the next one.")
@click.option("--set", "settings", multiple=True, metavar="NAME=VALUE", help="Set an input by hand; may be repeated.")
@json_option
@plain_option
@click.option("--svg", "as_svg", is_flag=True, help="Print only the drawing, as SVG.")
def worksheet(
    kind: Kind,
    asked: Asked,
    stage: str | None,
    settings: tuple[str, ...],
    as_json: bool,
    plain: bool,
    as_svg: bool,
) -> None:
    """Work out the numbers of one operation: KIND is one of those above, CASE names the child.

    The inputs come from the case, the plan's stage and the protocol; each may be set by hand. Check every
    number against the radiograph.
    """
    from pathway.views.words.caution import of_children
    from pathway.views.words.worksheet import worksheet_text

    sheet = _sheet(kind, asked.question, stage, by_name(settings))
    invented = of_children([asked.record.child.note])
    if as_svg:
        _print_svg(sheet, invented)
        return
    if as_json:
        show_json(sheet.model_dump_json(indent=2))
        return
    show_with_headings(worksheet_text(sheet, width(), plain=words_only(plain), invented=invented))


def _sheet(kind: Kind, question: Question, stage: str | None, settings: dict[str, str]) -> Sheet:
    from pathway.worksheets.kinds import KINDS

    return KINDS[kind].make(case_for(kind, question, stage), settings)


def case_for(kind: Kind, question: Question, stage: str | None = None) -> Case:
    """Return what the worksheet of a kind is opened with: the child, its plan and the plan's stage."""
    from pathway.worksheets.of_plan import opened

    return opened(kind, question, _plan(question), stage)


def _print_svg(sheet: Sheet, invented: str) -> None:
    from pathway.views.drawings.schematic import svg
    from pathway.views.words.caution import with_invented

    if not sheet.drawings:
        wanted = next((warning.text for warning in sheet.warnings if "--set" in warning.text), "print it as text")
        refuse(f"worksheet {sheet.kind}", "no drawing", "one to print", wanted.removesuffix("."))
    show(svg(sheet.drawings[0], with_invented(sheet.cautions[0], invented)), nl=False)


def _plan(question: Question) -> Plan | None:
    """Return the plan, or None where it would break a rule: a worksheet can still be filled by hand."""
    from pathway.plan.make import PlanBreach, make_plan

    try:
        return make_plan(question, compared=False)
    except PlanBreach as error:
        note(f"The plan breaks its own rules ({error.breaches}): please report it. This sheet was made without it.")
        return None


def by_name(settings: tuple[str, ...]) -> dict[str, str]:
    """Return the settings by name; leaves with a sentence where one has no `=`.

    The last one of a name counts; visits that are given one by one are put together in their order.
    """
    found: dict[str, str] = {}
    for text in settings:
        name, equals, value = text.partition("=")
        if not equals or not name.strip():
            refuse("--set", repr(text), "name=value", "write for example --set amount_mm=50")
        key = name.strip()
        found[key] = f"{found[key]},{value}" if key in ADDED_UP and key in found else value
    return found
