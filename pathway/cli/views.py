"""The verbs that print what the screens show: for pipes, for screen readers, for those who want no screens.

An edge. Pictures come with the words; with `--plain`, in a pipe and with NO_COLOR the words stand alone and the
curve is a table.
"""

from __future__ import annotations

import datetime
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.cli.case import (
    BAD_INPUT,
    CANNOT_PLAN,
    case_argument,
    example,
    examples,
    named_files,
    on_option,
    plain_option,
    plan_of,
    read_case_file,
    today,
)
from pathway.cli.rules import json_option, protocol_of, protocol_option, width, with_headings, words_only

if TYPE_CHECKING:
    from pathway.plan.model import Plan, PlanStage

ROAD_ROWS = 30


@click.command()
@click.argument("cases", nargs=-1, type=click.Path(path_type=Path), metavar="[CASE]...")
@click.option(
    "--find", metavar="WORDS", default="", help="Only children whose name, diagnosis or next step contains this."
)
@on_option
@protocol_option
@json_option
def children(cases: tuple[Path, ...], find: str, on: datetime.date | None, clinic: Path | None, as_json: bool) -> None:
    """List children: what is next for each, when, and the difference at maturity; the examples where none is named.

    A file that cannot be read is named in its place; the others are listed all the same, and the exit code is 2.
    """
    from pathway.views.data.shapes import ChildrenPrinted
    from tui import planner
    from tui.opened import shelf
    from tui.spoken import child_data, children_printed

    day, protocol = today(on), protocol_of(clinic)
    named = {name: read_case_file(file) for name, file in named_files(cases).items()}
    files = named or {name: example(name) for name in examples()}
    books = shelf(files)
    for entry in books.entries:
        made = planner.make(entry.name, entry.text, day, protocol)
        if isinstance(made, tuple):
            books = books.with_problems(entry.name, made)
        else:
            books = books.with_plan(entry.name, made.record, made.plan)
    rows = books.found(find)
    shown = [books[row.name] for row in rows]
    caution = next((entry.plan.cautions[0].text for entry in books.entries if entry.plan), "")
    if as_json:
        data = ChildrenPrinted(on=day, children=tuple(child_data(entry) for entry in shown), caution=caution)
        click.echo(data.model_dump_json(indent=2))
    else:
        _say(children_printed(rows, len(books.entries), day, caution, width()))
    wrong = [sentence for entry in shown for sentence in entry.problems]
    for sentence in wrong:
        click.echo(sentence, err=True)
    if wrong:
        sys.exit(BAD_INPUT)


@click.command()
@case_argument
@click.option(
    "--at", "at", type=click.FloatRange(0, 30), metavar="YEARS", help="Say what applies at this age; default: today's."
)
@click.option("--stage", help="Describe this stage; default: the next one.")
@on_option
@protocol_option
@json_option
@plain_option
def road(
    case: Path,
    at: float | None,
    stage: str | None,
    on: datetime.date | None,
    clinic: Path | None,
    as_json: bool,
    plain: bool,
) -> None:
    """Show the road of a child: stages in lanes by age, the leg difference below, what holds at an age."""
    from pathway.views.pictures.timeline import road as picture_of
    from pathway.views.pictures.timeline import road_ages
    from pathway.views.words import paragraphs
    from pathway.views.words.timeline import road_data, road_words
    from tui.spoken import printed

    day, protocol = today(on), protocol_of(clinic)
    made = plan_of(read_case_file(case), str(case), day, clinic)
    selected = _stage_of(made, stage, str(case))
    age = made.child.age_years if at is None else at
    said = list(paragraphs.at_age(made, age, paragraphs.aids(protocol)))
    if as_json:
        at_age, conflicts = tuple(say.text for say in said), paragraphs.conflicts(made)
        click.echo(road_data(made, at_age, conflicts).model_dump_json(indent=2))
        _leave(made)
        return
    words = words_only(plain)
    _head(made, f"The road of {made.child.id}")
    if not words:
        goal = (0.0, protocol.number("goal_band_mm"))
        ages, chosen = road_ages(made), selected.id if selected else None
        drawn = picture_of(made, width(), ROAD_ROWS, *ages, goal_mm=goal, selected=chosen, shaded=True)
        click.echo(f"\n{drawn.text}")
    else:
        _say(road_words(made, width()))
    of_stage = paragraphs.of_stage(made, selected) if selected else ()
    kinds = [paragraphs.Say("Classification", heading=True)] if made.classification else []
    _say(
        printed(
            (*said, *paragraphs.brackets(made), *of_stage, *kinds, *paragraphs.of_child(made)), width(), plain=words
        )
    )
    _leave(made)


@click.command()
@case_argument
@click.argument("stage", required=False)
@click.option("--unlock", is_flag=True, help="Say what would unlock the stage instead of its gates.")
@on_option
@protocol_option
@json_option
@plain_option
def before(
    case: Path,
    stage: str | None,
    unlock: bool,
    on: datetime.date | None,
    clinic: Path | None,
    as_json: bool,
    plain: bool,
) -> None:
    """Show what comes before STAGE (the next one where not given), and what must hold before it starts."""
    from pathway.views.pictures.prerequisites import layers
    from pathway.views.words import paragraphs
    from pathway.views.words.prerequisites import before_data, before_words
    from pathway.views.words.wrapping import wrap
    from tui.spoken import printed

    day, protocol = today(on), protocol_of(clinic)
    made = plan_of(read_case_file(case), str(case), day, clinic)
    selected = _stage_of(made, stage, str(case))
    if selected is None:
        _head(made, f"Order of the stages for {made.child.id}")
        _say(["", "The plan has no stages."])
        _leave(made)
        return
    if as_json:
        unlocks = tuple(say.text for say in paragraphs.of_unlock(made, selected, protocol))
        click.echo(before_data(made, selected, unlocks).model_dump_json(indent=2))
        _leave(made)
        return
    words = words_only(plain)
    _head(made, f"{made.child.id}: before this, {selected.label}")
    if not words and (drawn := layers(made, width())).width <= width():
        click.echo(f"\n{drawn.text}")
    _say(["", *before_words(made, selected, width())])
    said = paragraphs.of_unlock(made, selected, protocol) if unlock else paragraphs.of_gates(selected)
    _say(printed(said, width(), plain=words))
    _say(["", *wrap("Marks: + met, - not met, ? not known, ~ waived, > judged later.", width())])
    _leave(made)


@click.command()
@case_argument
@on_option
@protocol_option
@json_option
@plain_option
def family(case: Path, on: datetime.date | None, clinic: Path | None, as_json: bool, plain: bool) -> None:
    """Say the plan in plain words: what happens when, how long, what school and home need, how sure it is.

    `handout` writes the same as a document to take home.
    """
    from pathway.views.words.family import family_data, family_text

    made = plan_of(read_case_file(case), str(case), today(on), clinic)
    if as_json:
        click.echo(family_data(made).model_dump_json(indent=2))
    else:
        click.echo(with_headings(family_text(made, min(width(), 72))), nl=False)
    _leave(made)


@click.command()
@case_argument
@click.argument("stage", required=False)
@on_option
@protocol_option
@json_option
def behind(case: Path, stage: str | None, on: datetime.date | None, clinic: Path | None, as_json: bool) -> None:
    """List each statement on a STAGE (the next one where not given) and the child with the rule behind it.

    `rules show ID` prints such a rule with its sources.
    """
    from pathway.views.data.shapes import BehindPrinted, SaidWithRule
    from pathway.views.words import statements
    from tui.spoken import statements_printed

    made = plan_of(read_case_file(case), str(case), today(on), clinic)
    selected = _stage_of(made, stage, str(case))
    found = (*(statements.of_stage(made, selected) if selected else ()), *statements.of_plan(made))
    if as_json:
        items = tuple(
            SaidWithRule(text=one.text, rule=one.rule, mark=one.mark, local=one.local, known=one.known) for one in found
        )
        chosen = selected.id if selected else None
        data = BehindPrinted(
            child=made.child.id, on=made.on, stage=chosen, statements=items, caution=made.cautions[0].text
        )
        click.echo(data.model_dump_json(indent=2))
    else:
        _head(made, f"{made.child.id}: why and sources{', ' + selected.label if selected else ''}")
        _say(statements_printed(found, width()))
    _leave(made)


@click.command()
def keys() -> None:
    """Print the keys of the screens and the marks that they use."""
    from tui.screens.help import words
    from tui.spoken import printed

    _say(["Keys and marks of the screens", *printed(words(), width())])


def _stage_of(made: Plan, wanted: str | None, name: str) -> PlanStage | None:
    """Return the stage asked for, else the next one, else the first; leaves with a sentence for an unknown one."""
    from pathway.questions.why import UnknownStage, find_stage
    from tui.opened import next_stage

    if wanted is None:
        return next_stage(made) or next(iter(made.stages), None)
    try:
        return find_stage(made, wanted)
    except UnknownStage as error:
        click.echo(f"{name}: {error}.", err=True)
        sys.exit(BAD_INPUT)


def _head(made: Plan, title: str) -> None:
    from pathway.views.words.plan import caution, child_words, local_lines
    from pathway.views.words.wrapping import wrap

    lines = wrap(title, width(), "", "  ") + wrap(f"{child_words(made)}; on {made.on}", width(), "", "  ")
    notices = [line for text in made.notices for line in ("", *wrap(f"Notice: {text}", width()))]
    _say([*lines, *wrap(caution(made), width()), *local_lines(made, width()), *notices])


def _say(lines: Iterable[str]) -> None:
    click.echo(with_headings("\n".join(lines)))


def _leave(made: Plan) -> None:
    """Name the rules in conflict, where there are any, and leave with the exit code that says so."""
    if made.conflicts:
        for item in made.conflicts:
            click.echo(item.explanation, err=True)
        sys.exit(CANNOT_PLAN)
