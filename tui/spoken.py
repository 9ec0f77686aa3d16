"""What the panes say, as printed lines: the same paragraphs for pipes and screen readers. No screen in here."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator, Sequence
from itertools import zip_longest

from pathway.views.data.shapes import ChildPrinted
from pathway.views.words.paragraphs import Say
from pathway.views.words.plan import STATUS_MARKS
from pathway.views.words.statements import Statement
from pathway.views.words.wrapping import wrap
from tui.opened import Entry, Row, next_stage

WIDTH_OF_TABLE = 90
NARROW = (10, 9, 10, 11)
"""Columns of the name, the age, the day and the difference at maturity."""
_SYMBOLS = tuple(f"{mark} " for mark in STATUS_MARKS.values())


def printed(said: Iterable[Say], width: int, *, plain: bool = False) -> list[str]:
    """Return paragraphs as lines of at most `width` columns: headings at the margin, a blank line before each.

    `plain` drops the symbols before the names of stages: the words beside them say the same.
    """
    lines: list[str] = []
    for say in said:
        text = say.text
        if plain and text.startswith(_SYMBOLS):
            text = text[2:]
        if not text:
            continue
        if say.heading and say.depth == 0:
            lines += ["", *wrap(text, width, "", "  ")]
            continue
        indent = "  " * (say.depth + 1) + (f"{say.mark} " if say.mark else "")
        lines += wrap(text, min(width, say.widest) if say.widest else width, indent, " " * len(indent))
    return lines


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
    room = width - sum(NARROW) - 2 * (len(NARROW) + 1)
    sizes = (NARROW[0], NARROW[1], room - room // 2, room // 2, NARROW[2], NARROW[3])
    yield from _table_row(("Child", "Age", "Diagnosis", "What is next", "When", "At maturity"), sizes)
    yield from _table_row(("", "", "", "", "", "untreated"), sizes)
    for row in rows:
        yield from _table_row((row.name, row.age, row.diagnosis, row.following, row.when, row.difference), sizes)


def _table_row(cells: Sequence[str], sizes: Sequence[int]) -> Iterator[str]:
    columns = [wrap(cell, size) for cell, size in zip(cells, sizes, strict=True)]
    for parts in zip_longest(*columns, fillvalue=""):
        yield "  ".join(f"{part:<{size}}" for part, size in zip(parts, sizes, strict=True)).rstrip()


def child_data(entry: Entry) -> ChildPrinted:
    """Return a child of the list as data for other programs."""
    plan = entry.plan
    if plan is None:
        return ChildPrinted(name=entry.name, problems=entry.problems)
    stage = None if plan.conflicts else next_stage(plan)
    at = plan.growth.at_maturity
    return ChildPrinted(
        name=entry.name,
        age_years=plan.child.age_years,
        diagnosis=f"{plan.child.diagnosis_label}, {plan.child.affected_side}",
        next_stage=stage.id if stage else None,
        next_label=stage.label if stage else "",
        when=stage.date if stage else None,
        discrepancy_at_maturity_mm=at.discrepancy_mm.p50 if at else None,
        conflicts=tuple(item.explanation for item in plan.conflicts),
    )


def statements_printed(found: Iterable[Statement], width: int) -> Iterator[str]:
    """Yield statements, each followed by the id of its rule and how well it is known."""
    for one in found:
        yield ""
        mark = f"{one.mark} " if one.mark else ""
        yield from wrap(one.text, width, mark, "  " if mark else "")
        known = f"; {one.known}" if one.known else ""
        yield from wrap(f"rule {one.rule}{known}{' [local]' if one.local else ''}", width, "    ", "      ")
