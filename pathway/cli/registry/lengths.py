"""Leg lengths of a FHIR bundle into the registry: `registry import --fhir`. An edge."""

from __future__ import annotations

import datetime
import json
from pathlib import Path
from typing import TYPE_CHECKING

from pathway.cli.errors import note, refuse
from pathway.cli.options import now
from pathway.cli.printing import show
from pathway.files.reading import read_text
from pathway.plain_text import PSEUDONYM
from pathway.problems import Problem, Refused

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
        refuse("--method", repr(method), f"one of {', '.join(sorted(methods))}", "say how it was measured")
    bundle = _bundle(file)
    named = child or pseudonym_of(bundle)
    if named is not None and not PSEUDONYM.fullmatch(named):
        expected = "small letters, digits and hyphens"
        refuse(str(file), f"the pseudonym {named!r}", expected, "name the --child")
    reading = read_lengths(bundle, str(file), methods, method, named)
    for sentence in reading.left_out:
        note(f"{file}: {sentence}.")
    if reading.faults:
        note(sentences(reading.faults))
        if not rest or not reading.visits:
            hint = "--rest imports the others" if reading.visits else ""
            count = "1 fault" if len(reading.faults) == 1 else f"{len(reading.faults)} faults"
            raise Refused(Problem(str(file), "", None, f"{count}, nothing was imported", "", hint))
    if named is None:
        refuse(str(file), "no pseudonym known here", "the child whose lengths these are", "name it with --child")
    done = import_lengths(store, named, reading.visits, str(file), protocol, day, who=who, when=now())
    if isinstance(done, tuple):
        raise Refused(*done)
    for question in growth_questions(done.after, protocol):
        if question not in growth_questions(done.before, protocol):
            note(question)
    known = f"; {done.known} were already known" if done.known else ""
    what = f"{done.new} {'length' if done.new == 1 else 'lengths'} imported" if done.new else "nothing new"
    show(f"{done.child}: {what}{known}; entry {done.head.count}.")


def _bundle(file: Path) -> object:
    try:
        return json.loads(read_text(file, "a bundle (JSON)", MOST_BYTES, bom=True))
    except (ValueError, RecursionError) as error:
        why = f"line {error.lineno}" if isinstance(error, json.JSONDecodeError) else "nested too deep"
        refuse(str(file), f"no JSON ({why})", "a Bundle of FHIR R4", "export it again")
