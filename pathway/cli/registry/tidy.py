"""The verb `registry table`: what the registry knows as a tidy table, with the dictionary of its columns beside it."""

from __future__ import annotations

import datetime
import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.cli.asked import opened, protocol_of
from pathway.cli.errors import note, refuse
from pathway.cli.options import RegistryOptions, on_option, protocol_option, registry_options, today
from pathway.cli.printing import show
from pathway.files.reading import read_bytes
from pathway.files.writing import Target, refuse_place, write_out
from pathway.problems import CannotBeDone, Refused
from pathway.tables.tidy.fields import KINDS, UNDATED, Kind

if TYPE_CHECKING:
    from pathway.protocol.model import Protocol
    from pathway.registry.store import Registry
    from pathway.tables.tidy.rows import Kept, Value

ENDINGS = (".csv", ".parquet")
_WITHOUT_ACCEPTED = {
    "stages": "stages to come are those of accepted plans, so that only what was done stands here",
    "revisions": "revisions are accepted plans, so that there are none",
}
MOST_DICTIONARY_BYTES = 10_000_000


@click.command("table")
@click.argument("kind", type=click.Choice(KINDS))
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write to this new file (.csv or .parquet), with its dictionary beside it.",
)
@click.option("--dates", is_flag=True, help="Put in days of birth and all other days; else there are ages alone.")
@on_option
@protocol_option
@registry_options
def table_(
    kind: Kind,
    output: Path | None,
    dates: bool,
    on: datetime.date | None,
    overlay_dir: Path | None,
    where: RegistryOptions,
) -> None:
    """Give visits, stages, accepted plans, outcomes or single lengthenings of all children, one row an observation.

    Lengthenings are made to be pooled with those of other clinics: they hold neither days nor ids. In the others
    children go by their pseudonyms, ages stand in place of days. Free text is left out. Beside a file lies its
    dictionary (.schema.json, a Table Schema): every column with its type, unit and words. Findings of visits with
    --dates, csv or Parquet, are read back by `registry import`.
    """
    from pathway.tables.tidy.csv_out import csv_text
    from pathway.tables.tidy.dictionary import dictionary
    from pathway.tables.tidy.fields import fields_of
    from pathway.tables.tidy.rows import rows_of_child
    from pathway.views.words.caution import CAUTION

    if dates and kind in UNDATED:
        expected = "a table that may hold days: this one is made to leave the clinic"
        refuse("--dates", f"days asked for in {kind}", expected, "leave the option out")
    day, protocol = today(on), protocol_of(overlay_dir)
    schema = dictionary(kind, protocol, dates=dates, caution=CAUTION)
    said = (json.dumps(schema, indent=2, ensure_ascii=False) + "\n").encode()
    targets = None if output is None else _targets(output, said, where)
    fields = fields_of(kind, dates=dates)
    names = [field.name for field in fields]
    rows: list[tuple[Value, ...]] = []
    left = accepted = 0
    with opened(where) as store:
        for line in store.children():
            if line.erased is not None:
                continue
            try:
                kept = _kept(store, line.child, protocol, day)
                accepted += len(kept.plans)
                rows += rows_of_child(kind, kept, dates=dates)
            except (Refused, CannotBeDone, ValueError) as error:
                left += 1
                note(f"{line.child} is left out. {error}")
    if kind in UNDATED:
        rows.sort(key=str)  # in the order of the children they would say who is who
    note(f"{CAUTION}.")
    if not accepted and kind in _WITHOUT_ACCEPTED:
        do = "accept one with `limb-pathway registry accept`"
        note(f"No plan is accepted yet: {_WITHOUT_ACCEPTED[kind]}. To have them, {do}.")
    if output is None or targets is None:
        show(csv_text(names, rows), nl=False)
        return
    if output.suffix.lower() == ".parquet":
        from pathway.files.parquet import parquet_bytes

        data = parquet_bytes(fields, rows, schema)
    else:
        data = csv_text(names, rows).encode()
    write_out(targets[0], data)
    if not _lies_there(targets[1].file, said):
        write_out(targets[1], said)
    count = "1 row" if len(rows) == 1 else f"{len(rows)} rows"
    note(f"Wrote {output} ({count}), and what its columns mean to {targets[1].file}.")
    if left:
        note(f"Children left out: {left}.")


def _lies_there(file: Path, said: bytes) -> bool:
    """Return whether the very same dictionary lies there already, beside the same table in the other form."""
    return file.is_file() and read_bytes(file, "a dictionary", MOST_DICTIONARY_BYTES) == said


def _targets(output: Path, said: bytes, where: RegistryOptions) -> tuple[Target, Target]:
    """Return where table and dictionary go; refuses what cannot be written before anything is read."""
    from pathway.files.parquet import refuse_no_writer

    if output.suffix.lower() not in ENDINGS:
        refuse("--output", output.name, f"a name that ends with {' or '.join(ENDINGS)}", "rename it")
    if output.suffix.lower() == ".parquet":
        refuse_no_writer(str(output))
    targets = Target(output, inputs=where.files), Target(output.with_suffix(".schema.json"), inputs=where.files)
    for target in targets[: 1 if _lies_there(targets[1].file, said) else 2]:
        refuse_place(target)
    return targets


def _kept(store: Registry, child: str, protocol: Protocol, day: datetime.date) -> Kept:
    """Return what the registry keeps of a child, up to the day."""
    from pathway.registry.journal.fold import accepted_plans
    from pathway.tables.tidy.rows import AcceptedPlan, Kept

    entries = store.entries(child)
    record = store.folded(child, entries).until(day)
    plans = tuple(
        AcceptedPlan(
            number=one.number,
            on=one.revision.on,
            accepted=one.entry.when.date(),
            protocol_version=one.revision.protocol_version,
            recommended=one.revision.recommended,
            plan=one.revision.plan,
        )
        for one in accepted_plans(entries)
        if one.revision.accepted and one.revision.on <= day
    )
    return Kept(record, plans, protocol, day)
