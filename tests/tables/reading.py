"""A table read as `registry import` reads it, for tests: from text or a file, beside what is known."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from pathlib import Path

from pathway.files.tables import read_grid
from pathway.protocol.load import load_protocol
from pathway.record import Record
from pathway.tables.children import TableRead, read_table
from pathway.tables.csv_text import grid_of_csv
from pathway.tables.faults import problems_of
from pathway.tables.grid import Grid
from pathway.tables.guess import guessed
from pathway.tables.mapping import TableMapping, mapping_of_text

ON = datetime.date(2026, 12, 1)
TABLES = Path(__file__).parents[1] / "data" / "tables"
CARD = "id,date of birth,sex,affected side,diagnosis,date,method"
MAPLE = "maple-9,2016-02-10,girl,left,fibular_deficiency,2024-05-06,standing_full_length_film"


def grid_of(text: str) -> Grid:
    return grid_of_csv(text.encode(), "visits.csv")


def read(
    table: str | Path | Grid,
    mapping: TableMapping | str | None = None,
    known: Mapping[str, Record] | None = None,
    **said: object,
) -> TableRead:
    """Return a table read by a mapping, guessed where none is given, with `said` of it put right."""
    grid = grid_of(table) if isinstance(table, str) else read_grid(table) if isinstance(table, Path) else table
    protocol = load_protocol()
    if isinstance(mapping, str):
        made = mapping_of_text(mapping, "mapping.toml", protocol)
        assert isinstance(made, TableMapping), made
        mapping = made
    mapping = mapping or guessed(grid, protocol).mapping
    return read_table(grid, mapping.model_copy(update=said), protocol, ON, lambda child: (known or {}).get(child))


def sound(table: str | Path | Grid, *arguments: object, **said: object) -> dict[str, Record]:
    """Return the records after a table that has no fault, by child."""
    made = read(table, *arguments, **said)  # type: ignore[arg-type]
    assert made.faults == ()
    return {one.child: one.record for one in made.children}


def faults(table: str | Path | Grid, *arguments: object, **said: object) -> list[str]:
    """Return every fault of a table as its sentence."""
    return [one.sentence for one in problems_of(read(table, *arguments, **said).faults, "visits.csv")]  # type: ignore[arg-type]


def wide(heading: str, *cells: str, card: str = MAPLE) -> str:
    """Return a table of one child with one measured column; each cell is a visit, a month after the one before."""
    rows = [card.replace("2024-05-", f"2024-{5 + n:02d}-") + f',"{cell}"' for n, cell in enumerate(cells)]
    return "\n".join((f'{CARD},"{heading}"', *rows)) + "\n"


def values(record: Record) -> dict[tuple[str, str, str | None], tuple[object, str]]:
    """Return the value and method of each finding by day, finding and side."""
    return {
        (str(visit.date), one.finding, one.side): (one.value, one.method)
        for visit in record.visits
        for one in visit.measurements
    }
