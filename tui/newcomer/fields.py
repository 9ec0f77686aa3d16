"""The fields of a new child, with what may be typed in each. No screen in here."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping

from pathway.days import age_words, age_years
from pathway.protocol.model import Protocol
from tui.followup.form_field import Field
from tui.followup.options import Option, Unclear, chosen
from tui.newcomer.entered import (
    BORN,
    DATE,
    DIAGNOSIS,
    ID,
    LENGTHS,
    METHOD,
    NOTE,
    SEX,
    SEXES,
    SIDE,
    SIDES,
    Newcomer,
    diagnoses,
    methods,
)

MOST_LISTED = 4


def fields(typed: Mapping[str, str], found: Newcomer, protocol: Protocol, on: datetime.date) -> tuple[Field, ...]:
    """Return the fields with what was typed and what is wrong with it."""
    return tuple(_fields(typed, found.wrong, protocol, on))


def labels(protocol: Protocol, on: datetime.date) -> Mapping[str, str]:
    """Return the label of every field by name."""
    return {field.name: field.label for field in fields({}, Newcomer(), protocol, on)}


def _fields(
    typed: Mapping[str, str], wrong: Mapping[str, str], protocol: Protocol, on: datetime.date
) -> Iterator[Field]:
    def line(
        name: str,
        label: str,
        wanted: str,
        options: tuple[Option, ...] = (),
        unit: str = "",
        offered: str = "",
        origin: str = "",
    ) -> Field:
        text = typed.get(name, "")
        listed = ", ".join(one.words for one in options[:MOST_LISTED])
        more = f" and {len(options) - MOST_LISTED} more, F4 steps through them" if len(options) > MOST_LISTED else ""
        words = f"{wanted}: {listed}{more}" if options else wanted
        return Field(
            name,
            label,
            text,
            unit,
            words,
            "" if text else origin,
            name in typed,
            options,
            _means(text, options),
            offered=offered,
            wrong=wrong.get(name, ""),
        )

    words = "An id of your own for the child, never its name: small letters, digits and hyphens, such as maple-03"
    yield line(ID, "Id", words)
    yield line(SEX, "Sex", "Growth tables need it", SEXES)
    age = _age(typed.get(BORN, ""), on)
    yield line(BORN, f"Date of birth{age}", "Such as 2019-05-31; of what is exported only the case file tells it")
    yield line(DIAGNOSIS, "Diagnosis", "Part of its name", diagnoses(protocol))
    yield line(SIDE, "Short leg", "The affected side", SIDES)
    yield line(DATE, "Measured on", "A date such as 2026-05-31, of the lengths below", offered=str(on), origin="today")
    offered = methods(protocol)[0].words
    yield line(METHOD, "Measured by", "Part of its name", methods(protocol), offered=offered)
    for name in LENGTHS:
        side, _, finding = name.partition(".")
        rule = protocol.finding(finding)
        low, high = rule.plausible or (0.0, 0.0)
        label = f"{rule.label[0].upper()}{rule.label[1:]}, {side}"
        yield line(name, label, f"{low:g} to {high:g} {rule.unit}; leave it empty if not measured", unit=rule.unit)
    yield line(NOTE, "Team note", "A few words, no name; of what is exported only the case file tells them")


def _means(text: str, options: tuple[Option, ...]) -> str:
    try:
        return chosen(text, options).words if text.strip() and options else ""
    except Unclear:
        return ""


def _age(text: str, on: datetime.date) -> str:
    try:
        born = datetime.date.fromisoformat(text.strip())
    except ValueError:
        return ""
    return f" ({age_words(age_years(born, on))})" if born <= on else ""
