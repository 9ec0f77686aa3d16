"""Who needs what by when, page by page from an index, and which stored plans cannot be relied on. An edge.

A plan that is missing, of other entries, of another day or damaged never hides a child: it is told by name.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import islice
from typing import Any

from sqlalchemy import Row, Select, and_, func, literal, or_, select, tuple_

from pathway.days import add_months
from pathway.problems import refused
from pathway.questions.due import Due, Needed, due_on
from pathway.registry import stored_due, stored_plans
from pathway.registry.db import due_tables
from pathway.registry.db.due_tables import due_item, planned
from pathway.registry.db.tables import LAYOUT, entry, stored_plan
from pathway.registry.journal.entry import ChildLine, StoredPlan
from pathway.registry.problem import RegistryProblem, problem
from pathway.registry.store import Registry, line_of
from pathway.registry.stored_plans import Trust

BATCH = 2000
"""How many children are read in one step: no step holds the registry for long, no list lies in memory."""
PLACE = re.compile(r"(\d{4}-\d{2}-\d{2})/([a-z0-9-]+)/(\d{1,6})")


@dataclass(frozen=True, slots=True)
class After:
    """Where a page ended: the next one begins behind it."""

    by: datetime.date
    child: str
    number: int

    def __str__(self) -> str:
        return f"{self.by}/{self.child}/{self.number}"


@dataclass(frozen=True, slots=True)
class Page:
    """What is due, in order; `left` is how many come after it, `after` where the next page begins where any do."""

    items: tuple[Due, ...]
    left: int = 0
    after: After | None = None


@dataclass(frozen=True, slots=True)
class Standing:
    """A child with its stored plan, None where there is none that can be relied on.

    `fault` says what is wrong with one that was damaged, altered or taken away.
    """

    line: ChildLine
    plan: StoredPlan | None = None
    fault: str = ""

    @property
    def digest(self) -> str:
        """Return the digest of the rules that the plan was made by, "" where there is none to rely on."""
        return "" if self.plan is None else self.plan.protocol_digest

    def holds(self, on: datetime.date) -> bool:
        """Return whether the plan is sound, of the entries as they stand, and true on that day."""
        if self.plan is None or self.plan.head != self.line.head:
            return False
        until = stored_due.changes_on(self.plan)
        return until is not None and self.plan.on <= on < until


def place_after(text: str) -> After:
    """Return where a page ended, as it was printed. Raises Refused for another text."""
    found = PLACE.fullmatch(text)
    try:
        if found is None:
            raise ValueError(text)
        return After(datetime.date.fromisoformat(found[1]), found[2], int(found[3]))
    except ValueError:
        expected = "the place where the page before ended, such as 2026-12-23/rowan-02/1"
        raise refused("--after", repr(text), expected, "copy it from the last line of that page") from None


def standings(registry: Registry, *, erased: bool = False, index: bool = True) -> Iterator[Standing]:
    """Yield every child with its stored plan, by name, in steps that each see one state of the registry.

    Children that were erased come only where asked for, without a plan. Without `index` what a plan asks for is not
    held against the index of it: a list shows nothing of that.
    """
    last, held = "", None
    while True:
        with registry.reading() as connection, registry.telling_damage():
            held = held or stored_plans.trust(connection, registry.layout)
            read = connection.execute(_with_plans(last, held))
            names = tuple(read.keys())
            rows = [dict(zip(names, row, strict=True)) for row in read.all()]  # each is asked for its fields twice
            between = index and held.indexed and rows
            asked = stored_due.kept(connection, rows[0]["name"], rows[-1]["name"]) if between else {}
            found = [_standing(row, held, asked.get(row["name"], []) if index else None) for row in rows]
        yield from (one for one in found if erased or one.line.erased is None)
        if len(rows) < BATCH:
            return
        last = rows[-1]["name"]


def due_page(registry: Registry, on: datetime.date, months: int, most: int, after: After | None = None) -> Page:
    """Return what children need until so many months after a day, overdue first, at most so many.

    Where the index was never made it is filled first; where that cannot be written, the plans are read one by one.
    """
    until = add_months(on, months)
    try:
        fill_where_missing(registry)
    except RegistryProblem:
        return _page_of_plans(registry, on, until, most, after)
    # A day that is none was altered: the child is told among those to be planned again.
    wanted = and_(
        due_item.c.by_day.between(1, until.toordinal()),
        or_(due_item.c.kind != "opens", due_item.c.by_day >= on.toordinal()),
    )
    order = (due_item.c.by_day, due_item.c.child, due_item.c.number)
    if after is not None:
        begun = tuple_(literal(after.by.toordinal()), literal(after.child), literal(after.number))
        wanted = and_(wanted, due_item.c.by_day >= after.by.toordinal(), tuple_(*order) > begun)
    with registry.reading() as connection:
        rows = connection.execute(select(due_item).where(wanted).order_by(*order).limit(most)).all()
        more = len(rows) == most
        total = connection.scalar(select(func.count()).select_from(due_item).where(wanted)) if more else len(rows)
    return _page([(row.number, row.child, _needed(row)) for row in rows], on, (total or 0) - len(rows))


def each_child(registry: Registry, on: datetime.date, months: int) -> tuple[tuple[Due, ...], dict[str, int]]:
    """Return what is most urgent for each child, overdue first, and how many more items each child has."""
    first: dict[str, Due] = {}
    more: dict[str, int] = {}
    after = None
    while True:
        page = due_page(registry, on, months, BATCH, after)
        for item in page.items:
            if item.child in first:
                more[item.child] = more.get(item.child, 0) + 1
            else:
                first[item.child] = item
        if page.after is None:
            return tuple(first.values()), more
        after = page.after


def fill_where_missing(registry: Registry) -> None:
    """Fill the index from the stored plans where it was never made.

    Raises `RegistryProblem` where it cannot be: in a registry that can only be read, or of an older layout, which
    reading leaves as it is.
    """
    with registry.reading() as connection:
        if due_tables.are_there(connection) and registry.layout >= LAYOUT:
            return
    if registry.read_only or registry.layout < LAYOUT:
        found = registry.read_only or f"the layout {registry.layout}"
        raise problem(registry.place.name, found, "a registry to be written", "save something first")
    with registry.writing() as connection:
        if not due_tables.are_there(connection):
            stored_plans.index(connection)


def _with_plans(last: str, held: Trust) -> Select[Any]:
    """Return the query for the children after one, by name: where the chain ends, the stored plan, what it asks for."""
    each = (
        select(
            entry.c.child.label("name"),
            func.max(entry.c.sequence).label("last"),
            func.min(entry.c.at).label("first_at"),
            func.max(entry.c.at).filter(entry.c.kind == "erasure").label("erased"),
        )
        .where(entry.c.child > last)
        .group_by(entry.c.child)
        .order_by(entry.c.child)
        .limit(BATCH)
        .subquery()
    )
    found = each.join(entry, (entry.c.child == each.c.name) & (entry.c.sequence == each.c.last))
    found = found.outerjoin(stored_plan, stored_plan.c.child == each.c.name)
    if held.indexed:
        found = found.outerjoin(planned, planned.c.child == each.c.name)
    head = (each, entry.c.sha256, entry.c.at, entry.c.who)
    return select(*head, *stored_plans.columns(held)).select_from(found).order_by(each.c.name)


def _standing(row: Mapping[Any, Any], held: Trust, asked: list[stored_due.Asked] | None) -> Standing:
    line = line_of(row, row["name"])
    if row["child"] is None:
        return Standing(line, fault=stored_plans.LOST if row["mark"] is not None or asked else "")
    return Standing(line, *stored_plans.judged(row, held, asked))


def _needed(row: Row[Any]) -> Needed:
    return Needed(datetime.date.fromordinal(int(row.by_day)), row.kind, row.what)


def _page(found: list[tuple[int, str, Needed]], on: datetime.date, left: int) -> Page:
    items = tuple(told for _, child, one in found if (told := due_on(child, one, on)) is not None)
    if left <= 0 or not found:
        return Page(items)
    number, child, one = found[-1]
    return Page(items, left, After(one.by, child, number))


def _page_of_plans(registry: Registry, on: datetime.date, until: datetime.date, most: int, after: After | None) -> Page:
    """Return the page as the index would, read off the plans themselves."""
    with registry.reading() as connection:
        plans = stored_plans.sound(connection, registry.layout, whole=False).plans
    found = sorted(
        (by_day, plan.child, number, kind, what)
        for plan in plans
        for number, by_day, kind, what in stored_due.asked_of(plan)
        if by_day <= until.toordinal() and (kind != "opens" or by_day >= on.toordinal())
    )
    if after is not None:
        found = [row for row in found if row[:3] > (after.by.toordinal(), after.child, after.number)]
    shown = [
        (number, child, Needed(datetime.date.fromordinal(by), kind, what))
        for by, child, number, kind, what in islice(found, most)
    ]
    return _page(shown, on, len(found) - len(shown))
