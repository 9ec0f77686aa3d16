"""The command line: parse, read, call one function, print. Exit 0 done, 1 cannot be planned, 2 bad input."""

from __future__ import annotations

import datetime
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.core import ParameterSource

from pathway.cli.case import (
    BAD_INPUT,
    CANNOT_PLAN,
    breaches_told,
    case_argument,
    example,
    examples,
    on_option,
    plain_option,
    plan_of,
    read_case_file,
    taken_in,
    today,
)
from pathway.cli.courses import alternatives
from pathway.cli.documents import handout, picture, summary
from pathway.cli.exports import calendar, fhir
from pathway.cli.followup import compare, followup
from pathway.cli.open import open_files
from pathway.cli.registry import registry
from pathway.cli.registry_options import by_option, name_of, now, opened, refuse, registry_options
from pathway.cli.registry_plans import accept
from pathway.cli.rules import (
    can_open_screens,
    json_option,
    protocol_of,
    protocol_option,
    rules,
    width,
    with_headings,
    words_only,
)
from pathway.cli.serve import serve
from pathway.cli.views import before, behind, children, family, keys, road
from pathway.cli.worksheet import worksheet

if TYPE_CHECKING:
    from pathway.plan.model import Plan
    from pathway.worksheets.sheet import Sheet

DEMO_CHILD = "rowan-02"
DEMO_DAY = datetime.date(2026, 11, 25)
CHART_ROWS = 18
CHART_KEY = "Leg difference by age; bands ▒ 50 and ░ 90 of 100 children like this one; ■ measured; dots: no operations"


@click.group(invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="limb-pathway")
@by_option
@on_option
@protocol_option
@registry_options
@click.pass_context
def main(
    context: click.Context,
    by: str | None,
    on: datetime.date | None,
    clinic: Path | None,
    address: str | None,
    key_file: Path | None,
    ask_key: bool,
) -> None:
    """Plan the multi-stage treatment of a child's short, deformed limb.

    A planning aid for study and discussion, not a medical device: the treating surgeon decides, local
    protocol comes first. Without a verb the children of the registry open in the terminal, the example children
    where there is no registry; the options are for that, a verb has its own.
    """
    if context.invoked_subcommand is not None:
        _refuse_options(context)
    elif address is None and not _registry_there():
        context.invoke(open_files, cases=(), on=on, clinic=clinic)
    else:
        _open_registry(address, key_file, ask_key, by, on, clinic)


for view in (open_files, serve, children, road, before, family, behind, keys):
    main.add_command(view)
main.add_command(rules)
main.add_command(alternatives)
main.add_command(followup)
main.add_command(compare)
main.add_command(worksheet)
main.add_command(registry)
main.add_command(accept)
main.add_command(calendar)
main.add_command(fhir)
main.add_command(handout)
main.add_command(summary)
main.add_command(picture)


@main.command()
@on_option
@protocol_option
@json_option
@plain_option
def demo(on: datetime.date | None, clinic: Path | None, as_json: bool, plain: bool) -> None:
    """Plan an invented example child and show the plan.

    Opens the terminal screens; prints the plan where there is no terminal. The day is fixed so that the
    example always looks the same.
    """
    day = on or DEMO_DAY
    if can_open_screens() and not as_json and not plain:
        _open_screen(DEMO_CHILD, day, clinic)
        return
    click.echo(f"Example child {DEMO_CHILD} (invented), planned as of {day}.", err=True)
    _print_plan(plan_of(example(DEMO_CHILD), f"{DEMO_CHILD}.toml", day, clinic), as_json, plain)


@main.command()
@case_argument
@on_option
@protocol_option
@json_option
@plain_option
@click.option("--worksheets", is_flag=True, help="Add the worksheet of every operation still to come.")
def plan(
    case: Path, on: datetime.date | None, clinic: Path | None, as_json: bool, plain: bool, worksheets: bool
) -> None:
    """Plan the child of a case file: stages, dates, amounts, gates, courses."""
    text, day = read_case_file(case), today(on)
    if not worksheets:
        _print_plan(plan_of(text, str(case), day, clinic), as_json, plain)
        return
    from pathway.cli.worksheet import plan_with_sheets

    record, protocol = taken_in(text, str(case), day, clinic)
    with breaches_told(str(case)):
        made, sheets = plan_with_sheets(record, protocol, day)
    _print_plan(made, as_json, plain, sheets)


@main.command()
@case_argument
@click.argument("stage")
@on_option
@protocol_option
@json_option
def why(case: Path, stage: str, on: datetime.date | None, clinic: Path | None, as_json: bool) -> None:
    """Say why a stage is in the plan or not, what it waits for, what would change that, and the sources."""
    from pathway.questions import why as explain
    from pathway.questions import why_changes as explain_changes
    from pathway.views.data.plan_json import part_json
    from pathway.views.words.plan import why_text

    protocol = protocol_of(clinic)
    made = plan_of(read_case_file(case), str(case), today(on), clinic)
    try:
        found = explain.find_stage(made, stage)
    except explain.UnknownStage as error:
        kind = explain.kind_of(stage, protocol)
        if kind is None:
            click.echo(f"{case}: {error}.", err=True)
            sys.exit(BAD_INPUT)
        if as_json:
            data = {"stage": None, "kind": kind, **explain_changes.changes_data(made, kind, protocol)}
            considered = [item.model_dump(mode="json") for item in made.considered if item.about == kind]
            click.echo(part_json({**data, "considered": considered, "caution": _caution(made)}))
            return
        label, lines = protocol.stage(kind).label, explain_changes.why_not(made, kind, protocol)
        click.echo(with_headings(why_text(made, label, lines, width())), nl=False)
        return
    if as_json:
        cited = [source.model_dump(mode="json") for source in made.sources if source.id in found.sources]
        data = {"stage": found.model_dump(mode="json"), "sources": cited, "caution": _caution(made)}
        click.echo(part_json({**data, **explain_changes.changes_data(made, found.kind, protocol, found)}))
        return
    from pathway.views.words import paragraphs
    from tui.spoken import printed

    facts = printed(paragraphs.facts(made, found), width(), plain=True)
    lines = (*explain.why(made, found), *explain_changes.changes(made, found, protocol))
    click.echo(with_headings(why_text(made, found, lines, width(), facts)), nl=False)


@main.command()
@case_argument
@on_option
@protocol_option
@json_option
@plain_option
def growth(case: Path, on: datetime.date | None, clinic: Path | None, as_json: bool, plain: bool) -> None:
    """Project the growth of both legs, with the classical methods beside it."""
    from pathway.views.data.plan_json import part_json
    from pathway.views.pictures.timeline import growth_chart
    from pathway.views.words.plan import growth_text
    from pathway.views.words.wrapping import wrap

    made = plan_of(read_case_file(case), str(case), today(on), clinic)
    if as_json:
        click.echo(part_json({"growth": made.growth.model_dump(mode="json"), "caution": _caution(made)}))
        return
    drawn = None if words_only(plain) else growth_chart(made, width(), CHART_ROWS)
    if drawn is not None:
        click.echo("\n".join((drawn.text, *wrap(CHART_KEY, width()), "")))
    click.echo(with_headings(growth_text(made, width())), nl=False)


def _print_plan(made: Plan, as_json: bool, plain: bool, sheets: tuple[Sheet, ...] = ()) -> None:
    from pathway.views.data.plan_json import part_json, plan_json
    from pathway.views.words.plan import plan_text

    if as_json and sheets:
        worked = [sheet.model_dump(mode="json") for sheet in sheets]
        click.echo(part_json({**made.model_dump(mode="json"), "worksheets": worked}))
    else:
        text = plan_json(made) if as_json else with_headings(plan_text(made, width(), plain=words_only(plain)))
        click.echo(text, nl=as_json)
    if sheets and not as_json:
        from pathway.views.words.worksheet import worksheet_text

        for sheet in sheets:
            printed = worksheet_text(sheet, width(), plain=words_only(plain))
            click.echo("\n" + with_headings(printed), nl=False)
    if made.conflicts:
        for item in made.conflicts:
            click.echo(item.explanation, err=True)
        sys.exit(CANNOT_PLAN)


def _caution(made: Plan) -> str:
    return made.cautions[0].text


def _registry_there() -> bool:
    from pathway.registry.default import default_file

    return default_file().exists()


def _refuse_options(context: click.Context) -> None:
    """Leave where an option stands before the verb: it would be lost, each verb takes its own."""
    given = ParameterSource.COMMANDLINE
    for option in context.command.params:
        if (
            option.name
            and option.opts[0] not in ("-h", "--version")
            and context.get_parameter_source(option.name) is given
        ):
            verb = context.invoked_subcommand
            refuse(f"{option.opts[0]}: found before `{verb}`, expected after it; write it after the verb.")


def _open_registry(
    address: str | None,
    key_file: Path | None,
    ask_key: bool,
    by: str | None,
    on: datetime.date | None,
    clinic: Path | None,
) -> None:
    from pathway.cli.stored_registry import RegistryKeeper
    from tui.app import run

    if not can_open_screens():
        verbs = "`limb-pathway registry list` and `limb-pathway registry due` print the children"
        refuse(f"limb-pathway: found no terminal, expected one for the screens; {verbs}.")
    protocol = protocol_of(clinic) if clinic is not None else None
    with opened(address, key_file, ask_key) as store:
        run({}, today(on), None, protocol, RegistryKeeper(store, name_of(by), now))


def _open_screen(child: str | None, on: datetime.date | None, clinic: Path | None = None) -> None:
    from tui.app import run

    protocol = protocol_of(clinic) if clinic is not None else None
    run({name: example(name) for name in examples()}, today(on), child, protocol)


if __name__ == "__main__":
    main()
