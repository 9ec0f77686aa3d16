"""Leg lengths of a FHIR bundle into the registry: `registry import --fhir`. An edge."""

from __future__ import annotations

import datetime
import json
import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.cli.registry_options import now, refuse

if TYPE_CHECKING:
    from pathway.protocol.model import Protocol
    from pathway.registry.store import Registry

MOST_BYTES = 50_000_000


def take_in_lengths(
    store: Registry,
    file: Path,
    child: str | None,
    method: str,
    rest: bool,
    who: str,
    day: datetime.date,
    protocol: Protocol,
) -> None:
    """Keep the lengths of a bundle as visits and say what became of each; leaves with a sentence for each fault."""
    from pathway.exports.fhir.read import pseudonym_of, read_lengths
    from pathway.growth import growth_questions
    from pathway.problems import sentences
    from pathway.registry.lengths import import_lengths

    methods = {one.id for one in protocol.methods}
    if method and method not in methods:
        refuse(f"--method: found {method!r}, expected one of {', '.join(sorted(methods))}; say how it was measured.")
    bundle = _bundle(file)
    named = child or pseudonym_of(bundle)
    if named is not None and not re.fullmatch(r"[a-z0-9-]+", named):
        refuse(f"{file}: found the pseudonym {named!r}, expected small letters, digits and hyphens; name the --child.")
    reading = read_lengths(bundle, str(file), methods, method, named)
    for sentence in reading.left_out:
        click.echo(f"{file}: {sentence}.", err=True)
    if reading.faults:
        click.echo(sentences(reading.faults), err=True)
        if not rest or not reading.visits:
            hint = "; --rest imports the others" if reading.visits else ""
            count = "1 fault" if len(reading.faults) == 1 else f"{len(reading.faults)} faults"
            refuse(f"{file}: {count}, nothing was imported{hint}.")
    if named is None:
        refuse(
            f"{file}: found no pseudonym known here, expected the child whose lengths these are; name it with --child."
        )
    done = import_lengths(store, named, reading.visits, str(file), protocol, day, who=who, when=now())
    if isinstance(done, tuple):
        refuse(sentences(done))
    for question in growth_questions(done.after, protocol):
        if question not in growth_questions(done.before, protocol):
            click.echo(question, err=True)
    known = f"; {done.known} were already known" if done.known else ""
    what = f"{done.new} {'length' if done.new == 1 else 'lengths'} imported" if done.new else "nothing new"
    click.echo(f"{done.child}: {what}{known}; entry {done.head.count}.")


def _bundle(file: Path) -> object:
    try:
        if file.is_file() and file.stat().st_size > MOST_BYTES:
            refuse(f"{file}: found {file.stat().st_size} bytes, expected at most {MOST_BYTES}; is it one bundle?")
        return json.loads(file.read_text(encoding="utf-8-sig"))
    except OSError as error:
        refuse(f"{file}: found a bundle that cannot be read ({error.strerror}), expected a JSON file; check it.")
    except (ValueError, RecursionError) as error:
        why = f"line {error.lineno}" if isinstance(error, json.JSONDecodeError) else "not UTF-8, or nested too deep"
        refuse(f"{file}: found no JSON ({why}), expected a Bundle of FHIR R4; export it again.")
