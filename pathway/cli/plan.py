"""The verbs that print a plan and explain it: `demo`, `plan`, `why`, `growth`."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.cli.asked import Asked, child_verb, protocol_of
from pathway.cli.errors import leave_with_conflicts, note
from pathway.cli.options import RegistryOptions, json_option, on_option, plain_option, protocol_option
from pathway.cli.printing import can_open_screens, show, show_json, show_with_headings, symbols, width, words_only

if TYPE_CHECKING:
    from pathway.plan.model import Plan
    from pathway.worksheets.of_plan import SheetsOfPlan

DEMO_CHILD = "rowan-02"
DEMO_DAY = datetime.date(2026, 11, 25)
CHART_ROWS = 18
CHART_KEY = "Leg difference by age; bands ▒ 50 and ░ 90 of 100 children like this one; ■ measured; dots: no operations"


@click.command()
@on_option
@protocol_option
@json_option
@plain_option
def demo(on: datetime.date | None, overlay_dir: Path | None, as_json: bool, plain: bool) -> None:
    """Plan an invented example child and show the plan.

    Opens the terminal screens; prints the plan where there is no terminal. The day is fixed so that the
    example always looks the same.
    """
    day = on or DEMO_DAY
    if can_open_screens() and not as_json and not plain:
        from pathway.children import examples
        from tui.app import run

        protocol = protocol_of(overlay_dir) if overlay_dir is not None else None
        run({name: examples.text(name) for name in examples.names()}, day, DEMO_CHILD, protocol)
        return
    note(f"Example child {DEMO_CHILD} (invented), planned as of {day}.")
    # By its file's name: a child of the registry of that id is not the example.
    asked = Asked(Path(f"{DEMO_CHILD}.toml"), day, overlay_dir, RegistryOptions())
    _print_plan(asked.compared if as_json else asked.plan, as_json, plain)


@click.command()
@child_verb
@json_option
@plain_option
@click.option("--worksheets", is_flag=True, help="Add the worksheet of every operation still to come.")
def plan(asked: Asked, as_json: bool, plain: bool, worksheets: bool) -> None:
    """Plan a child: stages, dates, amounts, gates, courses."""
    sheets: SheetsOfPlan | None = None
    made = asked.compared if as_json else asked.plan
    if worksheets:
        from pathway.worksheets.of_plan import sheets_of

        sheets = sheets_of(asked.question, made)
    _print_plan(made, as_json, plain, sheets)


@click.command()
@child_verb
@click.argument("stage")
@json_option
def why(asked: Asked, stage: str, as_json: bool) -> None:
    """Say why a stage is in the plan or not, what it waits for, what would change that, and the sources."""
    from pathway.questions import why_changes
    from pathway.questions.why import UnknownStage, find_stage, kind_of
    from pathway.questions.why import why as reasons_of
    from pathway.views.data.plan_json import part_json
    from pathway.views.words.plan import why_text

    made, protocol = asked.plan, asked.protocol
    try:
        found = find_stage(made, stage)
    except UnknownStage:
        kind = kind_of(stage, protocol)
        if kind is None:
            raise
        if as_json:
            data = {"stage": None, "kind": kind, **why_changes.changes_data(made, kind, protocol)}
            considered = [item.model_dump(mode="json") for item in made.considered if item.about == kind]
            refused = next((item.model_dump(mode="json") for item in made.refused if item.stage == kind), None)
            data["refused"] = refused
            show_json(part_json({**data, "considered": considered, "caution": _caution(made)}))
            return
        label, lines = protocol.stage(kind).label, why_changes.why_not(made, kind, protocol)
        show_with_headings(why_text(made, label, lines, width()))
        return
    if as_json:
        cited = [source.model_dump(mode="json") for source in made.sources if source.id in found.sources]
        data = {"stage": found.model_dump(mode="json"), "sources": cited, "caution": _caution(made)}
        show_json(part_json({**data, **why_changes.changes_data(made, found.kind, protocol, found)}))
        return
    from pathway.views.words import paragraphs
    from pathway.views.words.printed import printed

    facts = printed(paragraphs.facts(made, found), width(), plain=True)
    lines = (*reasons_of(made, found), *why_changes.changes(made, found, protocol))
    show_with_headings(why_text(made, found, lines, width(), facts))


@click.command()
@child_verb
@json_option
@plain_option
def growth(asked: Asked, as_json: bool, plain: bool) -> None:
    """Project the growth of both legs, with the classical methods beside it."""
    from pathway.views.data.plan_json import part_json
    from pathway.views.pictures.symbols import drawn_in, in_symbols
    from pathway.views.pictures.timeline import growth_chart
    from pathway.views.words.plan import growth_text
    from pathway.views.words.wrapping import wrap

    made = asked.plan
    if as_json:
        show_json(part_json({"growth": made.growth.model_dump(mode="json"), "caution": _caution(made)}))
        return
    drawn = None if words_only(plain) else growth_chart(made, width(), CHART_ROWS, symbols())
    if drawn is not None:
        key = in_symbols(CHART_KEY, symbols())
        show("\n".join((drawn_in(drawn, symbols()).text, *wrap(key, width()), "")))
    show_with_headings(growth_text(made, width()))


@click.command()
@child_verb
@json_option
@click.option(
    "--what-turns",
    is_flag=True,
    help="Solve it again with low and high risks and with each weight lower and higher, and say which of them bring "
    "another first operation (some seconds).",
)
def programme(asked: Asked, as_json: bool, what_turns: bool) -> None:
    """Say what to decide at each visit, in a world where things go wrong.

    The best policy over all visits to come: ages and amounts if every step works, what usually happens, what other
    ages and amounts cost more, how close the next best first operation comes, and the value judgements that it rests
    on, as the wishes of the family leave them. The plan's stages follow its path.
    """
    from pathway.plan.make_programme import make_programme
    from pathway.views.data.plan_json import part_json
    from pathway.views.words.caution import caution
    from pathway.views.words.plan import child_words
    from pathway.views.words.printed import printed
    from pathway.views.words.programme import programme_paragraphs
    from pathway.views.words.wrapping import wrap

    made = asked.plan
    found = make_programme(asked.question, turn=what_turns)
    if as_json:
        told = None if isinstance(found, str) else found.model_dump(mode="json")
        why = found if isinstance(found, str) else ""
        show_json(part_json({"programme": told, "why_none": why, "caution": _caution(made)}))
        return
    lines = wrap(f"The programme of {child_words(made)}; on {made.on}", width(), "", "  ")
    lines += wrap(caution(made), width())
    lines += ["", *wrap(found, width())] if isinstance(found, str) else printed(programme_paragraphs(found), width())
    show_with_headings("\n".join((*lines, "")))


def _print_plan(made: Plan, as_json: bool, plain: bool, sheets: SheetsOfPlan | None = None) -> None:
    from pathway.views.data.plan_json import part_json, plan_json
    from pathway.views.words.plan import plan_text

    if as_json and sheets:
        worked = [sheet.model_dump(mode="json") for sheet in sheets.made]
        waiting = [
            {"stage": item.stage, "needs": [problem.sentence for problem in item.problems]} for item in sheets.not_yet
        ]
        show_json(part_json({**made.model_dump(mode="json"), "worksheets": worked, "worksheets_not_yet": waiting}))
    elif as_json:
        show_json(plan_json(made))
    else:
        show_with_headings(plan_text(made, width(), plain=words_only(plain)))
    if sheets and not as_json:
        from pathway.views.words.worksheet import not_yet_text, worksheet_text

        for sheet in sheets.made:
            printed = worksheet_text(sheet, width(), plain=words_only(plain))
            show_with_headings("\n" + printed)
        for item in sheets.not_yet:
            show("\n" + not_yet_text(item, width()))
    leave_with_conflicts(made)


def _caution(made: Plan) -> str:
    return made.cautions[0].text
