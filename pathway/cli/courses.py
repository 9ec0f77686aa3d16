"""The verb `alternatives`: the courses compared, and what-if questions."""

from __future__ import annotations

import datetime
from dataclasses import asdict

import click

from pathway.cli.asked import Asked, child_verb
from pathway.cli.errors import leave_with_conflicts, refuse
from pathway.cli.options import Day, as_day, json_option, plain_option
from pathway.cli.printing import show, show_json, show_with_headings, width, words_only
from pathway.preferences import PREFERENCES


class Span(click.ParamType[tuple[datetime.date, datetime.date]]):
    """FROM..TO, two days of the calendar."""

    name = "FROM..TO"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[datetime.date, datetime.date]:
        """Return the two days; fails with a sentence for anything else."""
        if isinstance(value, tuple):
            return value
        parts = str(value).split("..")
        try:
            start, end = (datetime.date.fromisoformat(part) for part in parts)
        except ValueError:
            self.fail(f"found {value!r}, expected two dates such as 2031-09-01..2032-06-30", param, ctx)
        if end < start:
            self.fail(f"found {value!r}, expected the later date last", param, ctx)
        return start, end


@click.command()
@child_verb
@click.option("--without", multiple=True, metavar="STAGE", help="Leave this stage out; may be repeated.")
@click.option(
    "--at-most-lengthenings", type=click.IntRange(0, 9), metavar="N", help="Most further lengthenings allowed."
)
@click.option(
    "--not-in", type=Span(), multiple=True, help="No device on the bone between these dates; may be repeated."
)
@click.option("--finish-before", type=Day(), callback=as_day, help="All devices off before this date.")
@click.option("--lift-at-most", type=click.FloatRange(0, 30), metavar="CM", help="Highest acceptable lift, cm.")
@click.option("--prefer", type=click.Choice(PREFERENCES), multiple=True, help="What matters most among good courses.")
@click.option(
    "--how-firm",
    is_flag=True,
    help="Say which single change would lead to another course or first operation (up to half a minute).",
)
@json_option
@plain_option
def alternatives(
    asked: Asked,
    without: tuple[str, ...],
    at_most_lengthenings: int | None,
    not_in: tuple[tuple[datetime.date, datetime.date], ...],
    finish_before: datetime.date | None,
    lift_at_most: float | None,
    prefer: tuple[str, ...],
    how_firm: bool,
    as_json: bool,
    plain: bool,
) -> None:
    """Compare the courses: how many lengthenings, when, how much, with or without growth arrest.

    The options ask what if; the answer is compared with the recommended course. Nothing is saved.
    """
    from pathway.questions.sensitivity import robustness
    from pathway.questions.what_if import WhatIf, what_if, with_wishes
    from pathway.views.data.plan_json import part_json
    from pathway.views.words.courses import courses_text
    from pathway.views.words.firmness import first_lines

    wished = WhatIf(
        without=without,
        at_most_lengthenings=at_most_lengthenings,
        not_in=not_in,
        finish_before=finish_before,
        lift_at_most_mm=None if lift_at_most is None else 10 * lift_at_most,
        prefer=prefer,
    )
    record, protocol, day = asked.record, asked.protocol, asked.on
    stages = [known.id for known in protocol.stages]
    for stage in without:
        if stage not in stages:
            refuse("--without", repr(stage), "a stage of the protocol", _near(stage, stages))
    question = asked.question
    answer = what_if(question, wished)
    firm = None
    if how_firm:
        firm = robustness(question.about(with_wishes(record, wished, day)), answer.wished, weighed=True)
    if as_json:
        courses = [course.model_dump(mode="json") for course in answer.wished.alternatives]
        data: dict[str, object] = {"child": answer.wished.child.id, "on": str(day), "asked": answer.asked}
        first = answer.as_it_stands.recommended
        compared = {"recommended": first.id if first else None, "differences": answer.differences, "courses": courses}
        roads = answer.wished.roads
        data["roads"] = roads.model_dump(mode="json") if roads is not None else None
        if firm is not None:
            data["stands"], data["turns"] = firm.stands, [asdict(turn) for turn in firm.turns]
            data["same_first"], data["weighed"] = firm.same_first, firm.weighed
        show_json(part_json({**data, **compared, "caution": answer.wished.cautions[0].text}))
    else:
        show_with_headings(courses_text(answer, width(), plain=words_only(plain), firm=firm))
        if firm is not None:
            show("".join(f"{line}\n" for line in first_lines(answer.wished, firm, width())), nl=False)
    leave_with_conflicts(answer.wished)


def _near(stage: str, known: list[str]) -> str:
    import difflib

    near = difflib.get_close_matches(stage, known, 1)
    return f"did you mean {near[0]}" if near else "`rules list --kind stages` names them"
