"""A clinic's table into the registry: guessed, shown, and kept after a yes. An edge."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.cli.asked import opened
from pathway.cli.errors import BAD_INPUT, confirmed, leave, note, tell
from pathway.cli.options import RegistryOptions, now
from pathway.cli.printing import show, width
from pathway.files.writing import Target, write_out
from pathway.problems import Refused, refused

if TYPE_CHECKING:
    from pathway.protocol.model import Protocol
    from pathway.record import Record
    from pathway.registry.store import Registry
    from pathway.registry.tables import KnownChildren
    from pathway.tables.children import TableRead
    from pathway.tables.grid import Grid
    from pathway.tables.mapping import TableMapping

_SHOWN = 40
"""How many faults are told at a time."""


@dataclass(frozen=True, slots=True)
class TableOptions:
    """What a person says of a table: its mapping, or where to write the guessed one; what settles an open question."""

    mapping: Path | None = None
    written_to: Path | None = None
    date_order: str | None = None
    method: str = ""
    rest: bool = False
    yes: bool = False


def take_in_table(
    file: Path, options: TableOptions, who: str, day: datetime.date, protocol: Protocol, where: RegistryOptions
) -> None:
    """Read a table, show what it would bring, and keep that after a yes; leaves with a sentence for each fault."""
    from pathway.files.tables import read_grid
    from pathway.tables.mapping import TableMapping
    from pathway.tables.preview import mapping_lines

    known = _mapping(options, protocol)
    grid = read_grid(file, None if known is None else known.sheet)
    mapping, remarks = (known, ()) if known is not None else _guessed(grid, protocol)
    said = {"date_order": options.date_order, "method": options.method or None}
    mapping = TableMapping.model_validate({**mapping.model_dump(), **{k: v for k, v in said.items() if v is not None}})
    with _registry(where) as store:
        heads, children = _known(store)
        read = _read(grid, mapping, protocol, day, children)
        if options.written_to is not None:
            _write(options.written_to, file, mapping, remarks, read)
            return
        for sentence in (*grid.remarks, *(remark for remark in remarks if not _settled(remark, mapping))):
            note(f"{file}: {sentence}")
        show("\n".join(mapping_lines(grid, mapping, width())))
        _show(read, protocol, file, options.rest)
        if not any(one.before is None or one.new for one in read.children):
            return
        if not options.yes and not _agreed():
            note("Nothing was imported.")
            return
        if store is not None and heads is not None:
            _keep(store, heads, read, who)
            return
    with opened(where, create=True) as store:
        from pathway.registry.tables import KnownChildren

        _keep(store, KnownChildren(store), read, who)


def _mapping(options: TableOptions, protocol: Protocol) -> TableMapping | None:
    from pathway.files.tables import read_mapping
    from pathway.tables.mapping import mapping_of_text

    if options.mapping is None:
        return None
    made = mapping_of_text(read_mapping(options.mapping), str(options.mapping), protocol)
    if isinstance(made, tuple):
        raise Refused(*made)
    return made


def _guessed(grid: Grid, protocol: Protocol) -> tuple[TableMapping, tuple[str, ...]]:
    from pathway.tables.guess import guessed

    made = guessed(grid, protocol)
    return made.mapping, made.remarks


def _settled(remark: str, mapping: TableMapping) -> bool:
    """Return whether an open question of a guess was settled by an option."""
    return mapping.date_order is not None and "day and month" in remark


@contextmanager
def _registry(where: RegistryOptions) -> Iterator[Registry | None]:
    """Yield the registry, None where there is none yet: it is made after the yes."""
    from pathway.registry.address import place_of

    place = place_of(where.address)
    if place.file is not None and not place.file.exists():
        yield None
        return
    with opened(where, create=place.file is None) as store:
        yield store


def _known(store: Registry | None) -> tuple[KnownChildren | None, Callable[[str], Record | None]]:
    from pathway.registry.tables import KnownChildren

    if store is None:
        return None, lambda _child: None
    known = KnownChildren(store)
    return known, known


def _read(
    grid: Grid, mapping: TableMapping, protocol: Protocol, day: datetime.date, known: Callable[[str], Record | None]
) -> TableRead:
    from pathway.tables.children import read_table

    return read_table(grid, mapping, protocol, day, known)


def _write(to: Path, file: Path, mapping: TableMapping, remarks: tuple[str, ...], read: TableRead) -> None:
    """Write the mapping with the words that were understood, and what is open as comments; nothing is imported."""
    from pathway.tables.faults import problems_of
    from pathway.tables.mapping import mapping_text

    words = {
        table: {**read.used.get(table, {}), **mapping.words.get(table, {})} for table in (*read.used, *mapping.words)
    }
    open_ = [problem.sentence for problem in problems_of(read.faults, file.name)][:_SHOWN]
    head = ("Open when this was written:", *open_) if open_ else ()
    text = mapping_text(mapping.model_copy(update={"words": words}), file.name, (*remarks, *head))
    write_out(Target(to, inputs=(file,)), text.encode())
    note(f"Wrote {to}. Correct it, then import with --mapping {to}. Nothing was imported.")


def _show(read: TableRead, protocol: Protocol, file: Path, rest: bool) -> None:
    """Print what each child gets; leaves where a fault stops the import."""
    from pathway.tables.faults import problems_of
    from pathway.tables.preview import read_lines, total_words

    faults = problems_of(read.faults, str(file))
    if lines := read_lines(read, protocol, width()):
        show("\n".join(lines))
    stopped = bool(faults) and not (rest and read.children)
    show(total_words(read.children, read.rows, held_back=stopped))
    for problem in faults[:_SHOWN]:
        note(problem.sentence)
    if len(faults) > _SHOWN:
        note(f"{len(faults) - _SHOWN} more faults are not shown.")
    if stopped:
        do = "--write-mapping FILE writes how the table is read, to be corrected"
        nothing = "so nothing was imported"
        if read.children:
            nothing += ", of the children without a fault neither"
            do = f"--rest imports those; {do}"
        count = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
        raise refused(str(file), f"{count}, {nothing}", "", do)
    if faults:
        left = {fault.child for fault in read.faults if fault.child}
        note(f"Left out: {', '.join(sorted(left)) or 'rows without a child'}.")


def _agreed() -> bool:
    try:
        return confirmed("Import this?")
    except click.Abort:  # nobody is there who could say yes
        note("")
        return False


def _keep(store: Registry, heads: KnownChildren, read: TableRead, who: str) -> None:
    from pathway.registry.tables import keep

    failed = []
    for one in read.children:
        if one.before is not None and not one.new:
            continue
        try:
            head = keep(store, one, heads.head(one.child), who=who, when=now())
        except Refused as error:
            failed.append(tell(error))
            continue
        what = "imported" if one.before is None else "values added"
        show(f"{one.child}: {what}; entry {head.count}.")
    if failed:
        note(f"{len(failed)} of {len(read.children)} children were not imported; the others are.")
        leave(max(failed, default=BAD_INPUT))
