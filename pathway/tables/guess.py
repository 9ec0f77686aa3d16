"""A mapping guessed from headings and cells of a table: what cannot be known is left open and said, never made up."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from pathway.protocol.model import FindingRule, Protocol
from pathway.protocol.units import NEEDS_UNIT, factor_of
from pathway.tables.grid import Cell, Grid, is_blank
from pathway.tables.headings import candidates, headings_of, width_of
from pathway.tables.likely import likely_columns
from pathway.tables.mapping import ROLES, Column, Role, TableMapping
from pathway.tables.values import ORDERS, DateOrder, Quantity, date_order, decimal_sign, quantity_of
from pathway.tables.words import FINDINGS, HEADINGS, NAMES, SIDES, folded

_UNITS = {"mm": "mm", "cm": "cm", "deg": "deg", "percent": "percent", "kg": "kg", "years": "years", "jahre": "years"}
_IN_BRACKETS = re.compile(r"[(\[]\s*(?:in\s+)?([^)\]]+?)\s*[)\]]")


@dataclass(frozen=True, slots=True)
class Guess:
    """A mapping that was guessed, and what could not be: a sentence for each thing that is open or was decided."""

    mapping: TableMapping
    remarks: tuple[str, ...]


def guessed(grid: Grid, protocol: Protocol) -> Guess:
    """Return how a table is probably read: of the rows that could be headings those that say most."""
    phrases = finding_phrases(protocol)

    def read(rows: tuple[int, ...]) -> dict[str, Column | None]:
        cells = _cells(grid, rows)
        return {heading: column_of(heading, below, phrases, protocol) for heading, below in cells.items()}

    def recognised(rows: tuple[int, ...]) -> tuple[int, int]:
        return sum(column is not None and column.role != "skip" for column in read(rows).values()), -len(rows)

    rows = max(candidates(grid), key=recognised, default=(1,))
    cells = _cells(grid, rows)
    headings = list(cells)
    known = {heading: column or Column(role="skip") for heading, column in read(rows).items()}
    known = _one_of_each(_sides_told_apart(known))
    order, remarks = _order(known, cells)
    if names := [heading for heading in headings if folded(heading) in NAMES]:
        remarks.append(f"{_quoted(names)} may name a person: it is not read, and a registry has no place for it.")
    remarks += likely_columns(known, cells, phrases, protocol)
    beyond = headings_of(grid, rows)[width_of(grid, rows) :] if grid.sheet is None else ()
    measured = [h for h, column in known.items() if column.role in ("measured", "value")]
    mapping = TableMapping(
        sheet=grid.sheet,
        heading_rows=rows,
        date_order=order,
        decimal=decimal_sign(cell for heading in measured for cell in cells[heading]),
        columns={
            h: column for h, column in known.items() if column.role != "skip" or (_holds(cells[h]) and h not in beyond)
        },
    )
    return Guess(mapping, tuple(remarks))


def _cells(grid: Grid, rows: tuple[int, ...]) -> dict[str, list[Cell]]:
    """Return what stands below each heading."""
    below = [row for row in grid.rows if row.number > rows[-1]]
    return {heading: [row.cell(at) for row in below] for at, heading in enumerate(headings_of(grid, rows))}


def _holds(cells: Iterable[Cell]) -> bool:
    return any(not is_blank(cell) for cell in cells)


def _order(columns: dict[str, Column], cells: dict[str, list[Cell]]) -> tuple[DateOrder | None, list[str]]:
    """Return the order of day and month on which all columns of dates agree, each settling it by itself."""
    settled = {
        heading: date_order(cells[heading])
        for heading, column in columns.items()
        if column.role in ("date", "birth_date")
    }
    said = {order for order in settled.values() if order is not None}
    for open_order, why in (("both", "dates of both orders"), ("either", "no date that settles the order")):
        if open_order in said:
            named = [heading for heading, order in settled.items() if order == open_order]
            return None, [f"{_quoted(named)} {'have' if len(named) > 1 else 'has'} {why} of day and month."]
    if len(said) > 1:
        return None, [f"{_quoted(list(settled))} have day and month in different orders."]
    return next((order for order in ORDERS if order in said), None), []


def column_of(
    heading: str, cells: Iterable[Cell], phrases: Mapping[str, tuple[str, ...]], protocol: Protocol
) -> Column | None:
    """Return what a heading stands for, None where nothing is known of it."""
    whole = folded(heading)
    if whole in NAMES:
        return Column(role="skip")
    if role := HEADINGS.get(whole):
        return Column(role=_role(role))
    bracketed = [found.lower() for found in _IN_BRACKETS.findall(heading)]
    tokens = whole.split()
    unit = next((_UNITS[token] for token in tokens if token in _UNITS), "m" if "m" in bracketed else None)
    plain = [token for token in tokens if token not in _UNITS and not (token == "m" and "m" in bracketed)]
    sides = {SIDES[token] for token in plain if token in SIDES}
    phrase = " ".join(token for token in plain if token not in SIDES and token != "side")
    meant = phrases.get(" ".join(plain)) or phrases.get(phrase, ())
    numbers = _are_numbers(cells)
    fitting = [
        rule
        for rule in map(protocol.finding, meant)
        if (unit is None or factor_of(rule.unit, unit) is not None) and (rule.kind == "number" or not numbers)
    ]
    if not fitting or len(sides) > 1:
        return None
    rule = next((rule for rule in fitting if rule.id == heading or (rule.kind == "number") is numbers), fitting[0])
    finding = rule.id
    side = sides.pop() if sides and rule.of == "limb" and " ".join(plain) not in phrases else None
    if unit is None and rule.unit and rule.unit not in NEEDS_UNIT:
        unit = rule.unit
    return Column.model_validate({"role": "measured", "finding": finding, "side": side, "unit": unit})


def _are_numbers(cells: Iterable[Cell]) -> bool:
    """Return whether what stands in a column are numbers, mostly."""
    filled = [cell for cell in cells if not is_blank(cell)]
    numbers = sum(isinstance(quantity_of(cell, None), Quantity) for cell in filled)
    return bool(filled) and 2 * numbers > len(filled)


def finding_phrases(protocol: Protocol) -> dict[str, tuple[str, ...]]:
    """Return the findings that words may call, the likeliest first: by id, label, and what clinics usually write."""
    known = [rule for rule in protocol.findings if not rule.derived or rule.id == "skeletal_age_years"]
    ids = {rule.id for rule in known}
    named = [(folded(words), rule.id) for rule in known for words in (rule.id, _without_unit(rule), rule.label)]
    named += [(word, finding) for word, finding in FINDINGS.items() if finding in ids]
    named += [(" ".join(word for word in words.split() if word not in _UNITS), finding) for words, finding in named]
    made: dict[str, tuple[str, ...]] = {}
    for words, finding in named:
        if words and finding not in made.get(words, ()):
            made[words] = (*made.get(words, ()), finding)
    return made


def _without_unit(rule: FindingRule) -> str:
    return rule.id.removesuffix(f"_{rule.unit}") if rule.unit else rule.id


def _sides_told_apart(columns: dict[str, Column]) -> dict[str, Column]:
    """Return the columns where a lone "side" beside measured columns that all name theirs is the affected one."""
    measured = [column for column in columns.values() if column.role == "measured"]
    roles = {column.role for column in columns.values()}
    if not measured or "value" in roles or "affected_side" in roles:
        return columns
    if any(column.side is None and column.finding != "leg_length_discrepancy_mm" for column in measured):
        return columns
    return {
        heading: column.model_copy(update={"role": "affected_side"}) if column.role == "side" else column
        for heading, column in columns.items()
    }


def _one_of_each(columns: dict[str, Column]) -> dict[str, Column]:
    """Return the columns with each role once, the first; a wide table has no columns that only a long one has."""
    long = any(column.role in ("value", "category") for column in columns.values())
    seen: set[Role] = set()
    made: dict[str, Column] = {}
    for heading, column in columns.items():
        role = column.role
        twice = role in seen and role != "measured"
        lost = (long and role == "measured") or (not long and role in ("finding", "unit", "not_measured"))
        made[heading] = Column(role="skip") if twice or lost else column
        seen.add(role)
    discrepancy = "leg_length_discrepancy_mm"
    sided = "side" in {column.role for column in made.values()}
    return {
        heading: column.model_copy(update={"side": "affected"})
        if column.role == "measured" and column.finding == discrepancy and column.side is None and not sided
        else column
        for heading, column in made.items()
    }


def _role(word: str) -> Role:
    return next(role for role in ROLES if role == word)


def _quoted(headings: list[str]) -> str:
    return " and ".join(f'"{heading}"' for heading in headings)
