"""The verbs that print what the screens show: for pipes, for screen readers, for those who want no screens.

An edge. Pictures come with the words; with `--plain`, in a pipe and with NO_COLOR the words stand alone and the
curve is a table.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.cli.asked import Asked, child_verb, opened, protocol_of, tell_notes
from pathway.cli.documents import chosen_words, language_option, wording_option
from pathway.cli.errors import BAD_INPUT, leave, leave_with_conflicts, note
from pathway.cli.options import (
    RegistryOptions,
    cases_argument,
    json_option,
    now,
    on_option,
    plain_option,
    protocol_option,
    registry_options,
    today,
)
from pathway.cli.printing import show, show_json, show_with_headings, symbols, width, words_only
from pathway.problems import Refused
from pathway.protocol.question import Question
from pathway.questions.urgency import ORDERS, Order

if TYPE_CHECKING:
    from pathway.plan.model import Plan, PlanStage
    from pathway.protocol.model import Protocol
    from pathway.views.words.children import Row

CURVE_ROWS = 14


@click.command()
@cases_argument
@click.option("--find", metavar="WORDS", default="", help="Only children of whom the list says all these words.")
@click.option(
    "--order",
    type=click.Choice(ORDERS),
    default=ORDERS[0],
    show_default=True,
    help="By urgency, the day of the next stage, the last day, what is due first, or the name.",
)
@on_option
@protocol_option
@registry_options
@json_option
def children(
    cases: tuple[Path, ...],
    find: str,
    order: Order,
    on: datetime.date | None,
    overlay_dir: Path | None,
    where: RegistryOptions,
    as_json: bool,
) -> None:
    """List children, most urgent first: next stage, last day, what is due.

    Where no CASE is named: the children of the registry that --registry or LIMB_PATHWAY_REGISTRY names, else the
    examples.

    A file that cannot be read is named in its place; the others are listed all the same, and the exit code is 2.
    """
    from pathway.children import examples
    from pathway.children.resolve import RegistryAt, locate_all, shown_names, text_of

    day, protocol = today(on), protocol_of(overlay_dir)
    if not cases and where.named:
        made, every = _kept(where, day, protocol, planned=as_json)
        _list(made, every, day, find, order, as_json=as_json)
        return
    found = shown_names(locate_all(cases, where.at() if cases else RegistryAt()))
    for one in found.values():
        tell_notes(one)
    named = {name: text_of(one) for name, one in found.items()}
    files = named or {name: examples.text(name) for name in examples.names()}
    made, every = {}, []
    for name in sorted(files):
        made[name], row = _planned(name, files[name], day, protocol)
        every.append(row)
    _list(made, every, day, find, order, as_json=as_json)


def _list(
    made: Mapping[str, Plan | tuple[str, ...] | None],
    every: Sequence[Row],
    day: datetime.date,
    find: str,
    order: Order,
    *,
    as_json: bool,
) -> None:
    """Print children in their order; leaves with what is wrong of those that have no plan.

    `made` holds the plan of each, why there is none, or None where its row was made of what is stored.
    """
    from pathway.views.data.children import child_data
    from pathway.views.data.shapes import ChildrenPrinted
    from pathway.views.words.caution import CAUTION, of_children, with_invented
    from pathway.views.words.child_table import children_printed
    from pathway.views.words.children import in_order, matching

    rows = in_order(matching(every, find), order)
    shown = {row.name: made[row.name] for row in rows}
    plans = [plan for plan in made.values() if plan is not None and not isinstance(plan, tuple)]
    head = plans[0].cautions[0].text if plans else ""
    if as_json:
        told = tuple(child_data(n, None, p) if isinstance(p, tuple) else child_data(n, p) for n, p in shown.items())
        show_json(ChildrenPrinted(on=day, children=told, caution=head).model_dump_json(indent=2))
    else:
        caution = with_invented(head or CAUTION, of_children(plan.child.note for plan in plans))
        _say(children_printed(rows, len(made), day, caution, width(), order, find))
    wrong = [sentence for found in shown.values() if isinstance(found, tuple) for sentence in found]
    for sentence in wrong:
        note(sentence)
    if wrong:
        leave(BAD_INPUT)


def _kept(
    where: RegistryOptions, on: datetime.date, protocol: Protocol, *, planned: bool
) -> tuple[dict[str, Plan | tuple[str, ...] | None], list[Row]]:
    """Return the children of the registry with their rows, off their stored plans where those hold.

    With `planned` every child is planned, as where a whole plan is asked for.
    """
    from pathway.children.planned import plan_from
    from pathway.children.registry_storage import RegistryStorage
    from pathway.questions.due import plan_summary
    from pathway.views.words.children import problem_row, summary_row

    made: dict[str, Plan | tuple[str, ...] | None] = {}
    rows: list[Row] = []
    now_planned = 0
    with opened(where) as store:
        storage = RegistryStorage(store, "", now)
        for one in storage.listed(protocol, on):
            if one.summary is not None and not planned:
                made[one.name] = None
                rows.append(summary_row(one.name, one.summary, on, accepted=one.accepted, kept=True))
                continue
            now_planned += not planned
            try:
                record = storage.read(one.name)
            except Refused as error:
                made[one.name] = (str(error),)
                rows.append(problem_row(one.name, str(error), "cannot be read"))
                continue
            earlier, last = storage.earlier(one.name), storage.plans.accepted(one.name)
            plan = made[one.name] = plan_from(Question(record, protocol, on, earlier=earlier))
            if isinstance(plan, tuple):
                rows.append(problem_row(one.name, plan[0], "cannot be planned"))
                continue
            accepted = None if last is None else last.when
            summary = plan_summary(plan, record, protocol, earlier)
            rows.append(summary_row(one.name, summary, on, accepted=accepted, kept=True))
    if now_planned:
        words = "1 child was" if now_planned == 1 else f"{now_planned} children were"
        note(f"{words} planned for this list alone: `limb-pathway registry replan` keeps the plans.")
    return made, rows


def _planned(name: str, text: str, on: datetime.date, protocol: Protocol) -> tuple[Plan | tuple[str, ...], Row]:
    """Return the plan of a case file, or why there is none, with its row on the list."""
    from pathway.children.planned import plan_from, record_from
    from pathway.questions.due import plan_summary
    from pathway.views.words.children import problem_row, summary_row

    record = record_from(name, text, on, protocol)
    if isinstance(record, tuple):
        return record, problem_row(name, record[0])
    plan = plan_from(Question(record, protocol, on))
    if isinstance(plan, tuple):
        return plan, problem_row(name, plan[0])
    return plan, summary_row(name, plan_summary(plan, record, protocol), on)


@click.command()
@child_verb
@click.option(
    "--at", "at", type=click.FloatRange(0, 30), metavar="YEARS", help="Say what applies at this age; default: today's."
)
@click.option("--stage", help="Describe this stage; default: the next one.")
@json_option
@plain_option
def timeline(
    asked: Asked,
    at: float | None,
    stage: str | None,
    as_json: bool,
    plain: bool,
) -> None:
    """Show the timeline of a child: stages in lanes by age, the leg difference below, what holds at an age."""
    from pathway.views.pictures.symbols import drawn_in
    from pathway.views.pictures.timeline import timeline as picture_of
    from pathway.views.pictures.timeline import timeline_ages
    from pathway.views.words import paragraphs
    from pathway.views.words.printed import printed
    from pathway.views.words.strip import strip
    from pathway.views.words.timeline import timeline_data, timeline_words

    made, protocol = asked.plan, asked.protocol
    selected = _stage_of(made, stage)
    age = made.child.age_years if at is None else at
    said = list(paragraphs.at_age(made, age, paragraphs.aids(protocol)))
    if as_json:
        at_age, conflicts = tuple(say.text for say in said), paragraphs.conflicts(made)
        show_json(timeline_data(made, at_age, conflicts).model_dump_json(indent=2))
        leave_with_conflicts(made)
        return
    words = words_only(plain)
    _head(made, f"The timeline of {made.child.id}")
    _say(["", *printed(strip(made), width(), plain=words)])
    if not words:
        drawn = picture_of(
            made,
            width(),
            CURVE_ROWS,
            *timeline_ages(made),
            goal_mm=(0.0, protocol.number("goal_band_mm")),
            selected=selected.id if selected else None,
            shaded=True,
            symbols=symbols(),
        )
        show(f"\n{drawn_in(drawn, symbols()).text}")
    else:
        _say(timeline_words(made, width()))
    of_stage = paragraphs.of_stage(made, selected) if selected else ()
    kinds = [paragraphs.Paragraph("Classification", heading=True)] if made.classification else []
    _say(
        printed(
            (*said, *paragraphs.brackets(made), *of_stage, *kinds, *paragraphs.of_child(made)), width(), plain=words
        )
    )
    leave_with_conflicts(made)


@click.command()
@child_verb
@click.argument("stage", required=False)
@click.option("--unlock", is_flag=True, help="Say what would unlock the stage instead of its gates.")
@json_option
@plain_option
def prerequisites(
    asked: Asked,
    stage: str | None,
    unlock: bool,
    as_json: bool,
    plain: bool,
) -> None:
    """Show the prerequisites of STAGE (the next one where not given): what comes before it, what must hold."""
    from pathway.views.pictures.prerequisites import layers
    from pathway.views.words import paragraphs
    from pathway.views.words.prerequisites import prerequisites_data, prerequisites_words
    from pathway.views.words.printed import printed
    from pathway.views.words.wrapping import wrap

    made, protocol = asked.plan, asked.protocol
    selected = _stage_of(made, stage)
    if selected is None:
        _head(made, f"Order of the stages for {made.child.id}")
        _say(["", "The plan has no stages."])
        leave_with_conflicts(made)
        return
    if as_json:
        unlocks = tuple(say.text for say in paragraphs.of_unlock(made, selected, protocol))
        show_json(prerequisites_data(made, selected, unlocks).model_dump_json(indent=2))
        leave_with_conflicts(made)
        return
    words = words_only(plain)
    _head(made, f"{made.child.id}: prerequisites of {selected.label}")
    if not words and (drawn := layers(made, width())).width <= width():
        show(f"\n{drawn.text}")
    _say(["", *prerequisites_words(made, selected, width())])
    said = paragraphs.of_unlock(made, selected, protocol) if unlock else paragraphs.of_gates(selected)
    _say(printed(said, width(), plain=words))
    _say(["", *wrap("Marks: + met, - not met, ? not known, ~ waived, > judged later.", width())])
    leave_with_conflicts(made)


@click.command()
@child_verb
@language_option
@wording_option
@json_option
@plain_option
def family(asked: Asked, language: str, own: Path | None, as_json: bool, plain: bool) -> None:
    """Say the plan in plain words: what your child has, what comes next, the choices, what can go wrong.

    `handout` writes the same as a document to take home, with its pictures.
    """
    from pathway.views.family.text import family_data, family_text

    made, words = asked.compared, chosen_words(language, own, asked.protocol)
    if as_json:
        show_json(family_data(made, words, asked.protocol).model_dump_json(indent=2))
    else:
        show_with_headings(family_text(made, words, asked.protocol, min(width(), 72)))
    leave_with_conflicts(made)


@click.command()
@child_verb
@click.argument("stage", required=False)
@json_option
def sources(asked: Asked, stage: str | None, as_json: bool) -> None:
    """List each statement on a STAGE (the next one where not given) and the child with the rule behind it.

    `rules show ID` prints such a rule with its sources.
    """
    from pathway.views.data.shapes import SaidWithRule, SourcesPrinted
    from pathway.views.words import statements
    from pathway.views.words.printed import statements_printed

    made = asked.plan
    selected = _stage_of(made, stage)
    found = (*(statements.of_stage(made, selected) if selected else ()), *statements.of_plan(made))
    if as_json:
        items = tuple(
            SaidWithRule(text=one.text, rule=one.rule, mark=one.mark, local=one.local, known=one.known) for one in found
        )
        chosen = selected.id if selected else None
        data = SourcesPrinted(
            child=made.child.id, on=made.on, stage=chosen, statements=items, caution=made.cautions[0].text
        )
        show_json(data.model_dump_json(indent=2))
    else:
        _head(made, f"{made.child.id}: sources{', ' + selected.label if selected else ''}")
        _say(statements_printed(found, width()))
    leave_with_conflicts(made)


@click.command()
def keys() -> None:
    """Print the keys of the screens and the marks that they use."""
    from pathway.views.words.keys import MANUAL, keys_and_marks
    from pathway.views.words.printed import printed

    _say(["Keys and marks of the screens", *printed((MANUAL, *keys_and_marks()), width())])


def _stage_of(made: Plan, wanted: str | None) -> PlanStage | None:
    """Return the stage asked for, else the next one, else the first; refuses an unknown one."""
    from pathway.questions.why import find_stage
    from pathway.views.words.children import next_stage

    if wanted is None:
        return next_stage(made) or next(iter(made.stages), None)
    return find_stage(made, wanted)


def _head(made: Plan, title: str) -> None:
    from pathway.views.words.caution import caution
    from pathway.views.words.plan import child_words, local_lines
    from pathway.views.words.wrapping import wrap

    lines = wrap(title, width(), "", "  ") + wrap(f"{child_words(made)}; on {made.on}", width(), "", "  ")
    notices = [line for text in made.notices for line in ("", *wrap(f"Notice: {text}", width()))]
    _say([*lines, *wrap(caution(made), width()), *local_lines(made, width()), *notices])


def _say(lines: Iterable[str]) -> None:
    show_with_headings("\n".join(lines), nl=True)
