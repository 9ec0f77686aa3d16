"""A case file to be filled in: what has to be said at the top, what may be said as comments with what it means."""

from __future__ import annotations

import datetime
import textwrap
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import get_args

from pathway.casefile.read import SCHEMA_VERSION
from pathway.casefile.visits import SKELETAL_AGE, SKELETAL_METHOD
from pathway.protocol.model import FindingRule, Protocol
from pathway.protocol.units import UNITS
from pathway.record import Decision, Sex, Side, WhyMissing

LENGTHS = ("femur_length_mm", "tibia_length_mm")
WIDTH = 110


@dataclass(frozen=True, slots=True)
class Given:
    """What is known of a new child; None for what is still to be filled in."""

    id: str
    date_of_birth: datetime.date | None = None
    sex: str | None = None
    affected_side: str | None = None
    diagnosis: str | None = None


def case_template(given: Given, protocol: Protocol, on: datetime.date, schema: str) -> str:
    """Return the text of a case file (TOML) for a new child; `schema` is where editors find its JSON Schema.

    Each field that must be filled in and is not given stands as a comment with its choices, so that reading the file
    asks for it by name. No comment holds a value, so that none is taken for one by mistake. What may follow (findings,
    operations, decisions) stands as comments with what it means.
    """
    return "\n".join(
        (*_head(schema), *_child(given, protocol), *_visit(given, protocol, on), *_later(protocol, on), "")
    )


def _head(schema: str) -> Iterator[str]:
    yield f"#:schema {schema}"
    yield from _said("A case file: what is known of one child. Take the # away before what you fill in.")
    yield from _said("Never a name, an address or a hospital's number: the id is a pseudonym of your own.")
    yield from _said("Lengths in mm, angles in degrees, ages in years (9.5), days as year-month-day without quotes.")
    yield f"schema_version = {SCHEMA_VERSION}"
    yield ""


def _said(words: str) -> list[str]:
    return textwrap.wrap(words, WIDTH, initial_indent="# ", subsequent_indent="# ", break_on_hyphens=False)


def _field(name: str, words: str) -> Iterator[str]:
    """Yield a field without a value, which nobody can leave as it is once the # is gone, and what it takes."""
    line = f"# {name} =    # {words}"
    if len(line) <= WIDTH:
        yield line
    else:
        yield from _said(f"{words}:")
        yield f"# {name} ="


def _child(given: Given, protocol: Protocol) -> Iterator[str]:
    yield "[child]"
    yield f'id = "{given.id}"'
    born = given.date_of_birth
    yield from [f"date_of_birth = {born}"] if born is not None else _field("date_of_birth", "such as 2024-05-31")
    for name, value, choices in (
        ("sex", given.sex, get_args(Sex)),
        ("affected_side", given.affected_side, (*get_args(Side), "both")),
        ("diagnosis", given.diagnosis, tuple(one.id for one in protocol.diagnoses)),
    ):
        yield from [f'{name} = "{value}"'] if value else _field(name, f"one of {_quoted(choices)}")
    yield '# note = ""'
    yield ""


def _quoted(choices: Iterable[str]) -> str:
    return ", ".join(f'"{choice}"' for choice in choices)


def _visit(given: Given, protocol: Protocol, on: datetime.date) -> Iterator[str]:
    yield from _said("One [[visit]] for each day on which something was measured; a copy of it for the next day.")
    why = " or ".join(f'"{one}"' for one in get_args(WhyMissing))
    yield from _said(f'Where there is no value: {{ not_measured = "…" }} with {why}.')
    yield "# [[visit]]"
    yield f"# date = {on}"
    yield from _field("method", f"how it was measured: {_quoted(one.id for one in protocol.methods)}")
    yield from _field(SKELETAL_AGE, "skeletal age, such as 9.5")
    yield from _field(SKELETAL_METHOD, f"one of {_quoted(one.id for one in protocol.skeletal_methods)}")
    for side in get_args(Side):
        yield f"# [visit.{side}]"
        for name in LENGTHS:
            yield from _finding(protocol.finding(name))
        if given.affected_side in (side, "both") or (given.affected_side is None and side == get_args(Side)[0]):
            for rule in protocol.findings:
                if rule.of == "limb" and not rule.derived and rule.id not in LENGTHS:
                    yield from _finding(rule)
    yield "# [visit.child]"
    for rule in protocol.findings:
        if rule.of == "child" and not rule.derived and rule.id != SKELETAL_AGE:
            yield from _finding(rule)
    yield ""


def _finding(rule: FindingRule) -> Iterator[str]:
    unit = UNITS[rule.unit].asked
    takes = "true or false"
    if rule.kind == "number" and rule.plausible is not None:
        low, high = rule.plausible
        takes = f"{low:g} to {high:g}{f' {unit}' if unit else ''}"
    elif rule.kind == "choice":
        takes = _quoted(rule.choices)
    yield from _field(rule.id, f"{rule.label}: {takes}")


def _later(protocol: Protocol, on: datetime.date) -> Iterator[str]:
    yield from _said("One [[operation]] for each operation that was done.")
    yield "# [[operation]]"
    yield from _field("kind", f"one of {_quoted(stage.id for stage in protocol.stages)}")
    yield from _field("date", f"such as {on}")
    yield from _field("side", f"one of {_quoted(get_args(Side))}")
    yield from _field("achieved_mm", "the length gained, mm")
    yield from _field("device_removed", f"the day on which device or cast came off, such as {on}")
    yield from _field("complications", f"a list of {_quoted(protocol.complications)}")
    yield ""
    yield from _said("One [[decision]] for each wish or decision, such as days on which nothing can be operated.")
    yield "# [[decision]]"
    yield from _field("date", f"such as {on}")
    yield from _field("by", '"family" or "team"')
    yield from _field("kind", f"one of {_quoted(get_args(Decision.model_fields['kind'].annotation))}")
    yield from _field("from", "the first day, where days are blocked")
    yield from _field("to", "the last day, where days are blocked")
    yield from _field("reason", "the reason, in words, in quotes")
