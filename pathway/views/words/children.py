"""The list of children in words: one row a child, as the screens show it and the verb `children` prints it."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import Any

from pathway.days import age_words, age_years
from pathway.plan.model import Plan, PlanStage
from pathway.questions.due import Due, due
from pathway.views.pictures.curve import cm
from pathway.views.words.firmness import listed
from pathway.views.words.wrapping import wrap

MONTHS_AHEAD = 12
"""How far the list looks ahead for what each child needs."""
WIDTH_OF_TABLE = 90
NARROW = (10, 9, 10, 11)
"""Columns of the name (at least), the age, the day and the difference at maturity."""
LONGEST_NAME = 18
"""A longer name is broken over lines."""


@dataclass(frozen=True, slots=True)
class Row:
    """What the list of children says of one child, in words."""

    name: str
    age: str
    diagnosis: str
    following: str
    when: str
    difference: str
    unsaved: bool = False

    @property
    def words(self) -> str:
        """Return all that a search looks through."""
        return " ".join((self.name, self.age, self.diagnosis, self.following, self.when)).lower()


def next_stage(plan: Plan) -> PlanStage | None:
    """Return what is next: the first stage under way or to come that has a date, or None."""
    dated = [s for s in plan.stages if s.date is not None and s.status in ("ready", "later", "blocked")]
    dated.sort(key=lambda stage: (stage.date, not stage.operation))
    operations = [stage for stage in dated if stage.operation]
    return operations[0] if operations else (dated[0] if dated else None)


def plan_row(name: str, plan: Plan, needs: tuple[Due, ...] | None = None, *, unsaved: bool = False) -> Row:
    """Return the row of a planned child; `needs` says what it needs first, None where nobody keeps lists."""
    stage = next_stage(plan)
    at_maturity = plan.growth.at_maturity
    following, when = ("nothing dated", "") if stage is None else (stage.label, str(stage.date))
    if needs is not None:
        following, when = _needed(needs, following, when)
    following = listed(following, close=plan.firmness.close_call)
    return Row(
        name=name,
        age=age_words(plan.child.age_years),
        diagnosis=f"{plan.child.diagnosis_label}, {plan.child.affected_side}",
        following="cannot be planned as the rules stand" if plan.conflicts else following,
        when="" if plan.conflicts else when,
        difference="not known" if at_maturity is None else cm(at_maturity.discrepancy_mm.p50),
        unsaved=unsaved,
    )


def summary_row(name: str, summary: Mapping[str, Any], on: datetime.date) -> Row:
    """Return the row of a child as the summary of its kept plan tells it."""
    difference = summary["difference_mm"]
    words, when = _needed(needs_of(name, summary, on), summary["next"].rpartition(" on ")[0], summary["next_on"])
    return Row(
        name=name,
        age=age_words(age_years(datetime.date.fromisoformat(summary["born"]), on)),
        diagnosis=summary["diagnosis"],
        following=listed(words, close=bool(summary.get("close_call"))),
        when=when,
        difference="not known" if difference is None else cm(difference),
    )


def problem_row(name: str, problem: str, what: str = "the file cannot be read") -> Row:
    """Return the row of a child that cannot be planned, with the sentence that says why."""
    return Row(name, "", what, problem, "", "")


def matching(rows: Iterable[Row], text: str) -> tuple[Row, ...]:
    """Return the rows that hold every word typed, in order."""
    words = text.lower().split()
    return tuple(row for row in rows if all(word in row.words for word in words))


def needs_of(child: str, summary: Mapping[str, Any], on: datetime.date) -> tuple[Due, ...]:
    """Return what a child needs in the months to come, what is overdue first."""
    return tuple(sorted(due(child, summary, on, MONTHS_AHEAD), key=lambda item: (item.by, item.what)))


def _needed(due: tuple[Due, ...], following: str, when: str) -> tuple[str, str]:
    """Return what a child needs first and by when; what is next where nothing is due soon."""
    if not due:
        return following, when or ""
    first = due[0]
    more = f" (+{len(due) - 1} more)" if len(due) > 1 else ""
    return f"{first.what[0].upper()}{first.what[1:]}{' (overdue)' if first.overdue else ''}{more}", str(first.by)


def children_printed(rows: Sequence[Row], count: int, on: datetime.date, caution: str, width: int) -> Iterator[str]:
    """Yield the list of children as a table, or as paragraphs where there is no width for one."""
    shown = f"{len(rows)} of {count}" if len(rows) != count else str(count)
    yield f"Children: {shown}, planned as of {on}"
    yield from wrap(caution, width)
    yield ""
    if not rows:
        yield "No child matches."
    if width < WIDTH_OF_TABLE:
        for row in rows:
            facts = [text for text in (row.age, row.diagnosis) if text]
            difference = f"; difference at maturity untreated {row.difference}" if row.difference else ""
            when = f", {row.when}" if row.when else ""
            yield from wrap(f"{row.name}: {', '.join(facts)}; next: {row.following}{when}{difference}", width, "", "  ")
        return
    name = min(max((len(row.name) for row in rows), default=0), LONGEST_NAME)
    narrow = (max(NARROW[0], name), *NARROW[1:])
    room = width - sum(narrow) - 2 * (len(narrow) + 1)
    sizes = (narrow[0], narrow[1], room - room // 2, room // 2, narrow[2], narrow[3])
    yield from _table_row(("Child", "Age", "Diagnosis", "What is next", "When", "At maturity"), sizes)
    yield from _table_row(("", "", "", "", "", "untreated"), sizes)
    for row in rows:
        yield from _table_row((row.name, row.age, row.diagnosis, row.following, row.when, row.difference), sizes)


def _table_row(cells: Sequence[str], sizes: Sequence[int]) -> Iterator[str]:
    columns = [wrap(cell, size) for cell, size in zip(cells, sizes, strict=True)]
    for parts in zip_longest(*columns, fillvalue=""):
        yield "  ".join(f"{part:<{size}}" for part, size in zip(parts, sizes, strict=True)).rstrip()
