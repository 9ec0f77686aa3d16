"""The command line: parse, read, call one function, print. Exit 0 done, 1 cannot be planned, 2 bad input."""

from __future__ import annotations

import datetime
import gc
import sys
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pathway.cli_rules import json_option, protocol_of, protocol_option, rules, width
from pathway.cli_worksheet import worksheet_command

if TYPE_CHECKING:
    from pathway.plan_model import Plan
    from pathway.record import Record

DEMO_CHILD = "rowan-02"
DEMO_DAY = datetime.date(2026, 11, 25)
CANNOT_PLAN, BAD_INPUT = 1, 2
MOST_BYTES = 2_000_000
CHART_ROWS = 18
CHART_KEY = "Leg difference by age; bands ▒ 50 and ░ 90 of 100 children like this one; ■ measured; dots: no operations"


def _day(_context: click.Context, _parameter: click.Parameter, value: datetime.datetime | None) -> datetime.date | None:
    return None if value is None else value.date()


on_option = click.option(
    "--on",
    type=click.DateTime(["%Y-%m-%d"]),
    callback=_day,
    help="Plan as on this day (YYYY-MM-DD); today where not given.",
)
plain_option = click.option("--plain", is_flag=True, help="Words only: no symbols, no pictures, curves as tables.")
case_argument = click.argument("case", type=click.Path(path_type=Path))


@click.group(invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="limb-pathway")
@click.pass_context
def main(context: click.Context) -> None:
    """Plan the multi-stage treatment of a child's short, deformed limb.

    A planning aid for study and discussion, not a medical device: the treating surgeon decides, local
    protocol comes first. Without a verb the example children open in the terminal.
    """
    if context.invoked_subcommand is None:
        _open_screen(None, None)


main.add_command(rules)


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
    if sys.stdout.isatty() and sys.stdin.isatty() and not as_json and not plain:
        _open_screen(DEMO_CHILD, day, clinic)
        return
    click.echo(f"Example child {DEMO_CHILD} (invented), planned as on {day}.", err=True)
    _print_plan(_plan_of(_example(DEMO_CHILD), f"{DEMO_CHILD}.toml", day, clinic), as_json, plain)


@main.command()
@case_argument
@on_option
@protocol_option
@json_option
@plain_option
def plan(case: Path, on: datetime.date | None, clinic: Path | None, as_json: bool, plain: bool) -> None:
    """Plan the child of a case file: stages, dates, amounts, gates, courses."""
    _print_plan(_plan_of(_read_file(case), str(case), _today(on), clinic), as_json, plain)


@main.command()
@case_argument
@click.argument("stage")
@on_option
@protocol_option
@json_option
def why(case: Path, stage: str, on: datetime.date | None, clinic: Path | None, as_json: bool) -> None:
    """Say why a stage is in the plan or not, what it waits for, what would change that, and the sources."""
    from pathway import explain, explain_changes
    from pathway.output.json import part_json
    from pathway.output.text import why_text

    protocol = protocol_of(clinic)
    made = _plan_of(_read_file(case), str(case), _today(on), clinic)
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
        click.echo(why_text(made, label, lines, width()), nl=False)
        return
    if as_json:
        cited = [source.model_dump(mode="json") for source in made.sources if source.id in found.sources]
        data = {"stage": found.model_dump(mode="json"), "sources": cited, "caution": _caution(made)}
        click.echo(part_json({**data, **explain_changes.changes_data(made, found.kind, protocol, found)}))
        return
    lines = (*explain.why(made, found), *explain_changes.changes(made, found, protocol))
    click.echo(why_text(made, found, lines, width()), nl=False)


@main.command()
@case_argument
@on_option
@protocol_option
@json_option
@plain_option
def growth(case: Path, on: datetime.date | None, clinic: Path | None, as_json: bool, plain: bool) -> None:
    """Project the growth of both legs, with the classical methods beside it."""
    from pathway.output.json import part_json
    from pathway.output.road import growth_chart
    from pathway.output.text import growth_text

    made = _plan_of(_read_file(case), str(case), _today(on), clinic)
    if as_json:
        click.echo(part_json({"growth": made.growth.model_dump(mode="json"), "caution": _caution(made)}))
        return
    drawn = None if plain else growth_chart(made, width(), CHART_ROWS)
    if drawn is not None:
        click.echo(f"{drawn.text}\n{CHART_KEY}\n")
    click.echo(growth_text(made, width()), nl=False)


def _print_plan(made: Plan, as_json: bool, plain: bool) -> None:
    from pathway.output.json import plan_json
    from pathway.output.text import plan_text

    click.echo(plan_json(made) if as_json else plan_text(made, width(), plain=plain), nl=as_json)
    if made.conflicts:
        for item in made.conflicts:
            click.echo(item.explanation, err=True)
        sys.exit(CANNOT_PLAN)


def _caution(made: Plan) -> str:
    return made.cautions[0].text


def _plan_of(text: str, name: str, on: datetime.date, clinic: Path | None) -> Plan:
    from pathway.plan import PlanBreach, make_plan

    # A verb lives for a second or two: looking for garbage while the rules load would only cost time.
    gc.disable()
    protocol = protocol_of(clinic)
    record = _record(text, name, protocol, on)
    try:
        return make_plan(record, protocol, on)
    except PlanBreach as error:
        click.echo(f"{name}: internal error, no plan is shown: the plan made breaks its own rules ({error}).", err=True)
        click.echo("Please report it with the case file; the file itself is untouched.", err=True)
        sys.exit(CANNOT_PLAN)


def _record(text: str, name: str, protocol: Any, on: datetime.date) -> Record:
    from pathway.faults import sentences
    from pathway.intake import take_in

    record = take_in(text, name, protocol, on)
    if isinstance(record, tuple):
        click.echo(sentences(record), err=True)
        sys.exit(BAD_INPUT)
    return record


def _read_file(path: Path) -> str:
    """Return the text of a case file; a bare name of an example child is taken from the examples."""
    if not path.exists() and path.parent == Path() and _has_example(path.name):
        return _example(path.name)
    try:
        if path.is_file() and path.stat().st_size > MOST_BYTES:
            found, wanted = f"{path.stat().st_size} bytes", f"at most {MOST_BYTES}"
            click.echo(f"{path}: found {found}, expected {wanted}; is it a case file?", err=True)
            sys.exit(BAD_INPUT)
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        problem = "found text that is not UTF-8, expected a UTF-8 text file; save it again as UTF-8"
    except FileNotFoundError:
        problem = f"found no such file, expected a case file; the examples are {', '.join(_examples())}"
    except IsADirectoryError:
        problem = "found a folder, expected a case file; name a .toml file in it"
    except OSError as error:
        problem = f"cannot be read ({error.strerror}); check the file and its permissions"
    click.echo(f"{path}: {problem}.", err=True)
    sys.exit(BAD_INPUT)


def _examples() -> list[str]:
    names = (entry.name for entry in resources.files("example_patients").iterdir())
    return sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml") and name[0] != "_")


def _has_example(name: str) -> bool:
    return name.removesuffix(".toml") in _examples()


def _example(name: str) -> str:
    file = resources.files("example_patients").joinpath(f"{name.removesuffix('.toml')}.toml")
    return file.read_text(encoding="utf-8")


def _today(on: datetime.date | None) -> datetime.date:
    return on if on is not None else datetime.date.today()


def _open_screen(child: str | None, on: datetime.date | None, clinic: Path | None = None) -> None:
    from tui.app import run

    protocol = protocol_of(clinic) if clinic is not None else None
    run({name: _example(name) for name in _examples()}, _today(on), child, protocol)


main.add_command(worksheet_command(_read_file, _record, _today, on_option, plain_option))


if __name__ == "__main__":
    main()
