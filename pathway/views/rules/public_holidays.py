"""Public holidays as days on which a clinic does not operate: the text of a file for its folder of rules."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping

import tomlkit

from pathway.protocol.clinic import ClinicCalendar
from pathway.record import BlockedWeeks


def with_holidays(calendar: ClinicCalendar, days: Mapping[datetime.date, str]) -> tuple[BlockedWeeks, ...]:
    """Return what a calendar has closed and, in order of dates, each public holiday that it does not name yet."""
    closed = set(calendar.blocked)
    closed |= {BlockedWeeks.model_validate({"reason": name, "from": day, "to": day}) for day, name in days.items()}
    return tuple(sorted(closed, key=lambda one: (one.from_date, one.to_date, one.reason)))


def holidays_overlay(calendar: ClinicCalendar, days: Mapping[datetime.date, str], place: str, origin: str) -> str:
    """Return the calendar of a clinic with the public holidays of a place closed, as rules (TOML) to be laid over ours.

    `origin` names the list that they are from, with its version.
    """
    span = f"{min(days).year} to {max(days).year}" if days else "no year"
    because = f"The clinic is closed on the public holidays of {place} ({span}, as listed by {origin})."
    head = (
        f"# Public holidays of {place}, {span}, as listed by {origin}; a law may still change later ones.",
        "# Review them, then put this file into the folder of the clinic's rules. Where a [calendar] is there already,",
        "# put this `blocked` in its place: it holds what was closed before, too.",
        "",
        "[calendar]",
        f"id = {_text(calendar.id)}",
    )
    tail = (f"because = {_text(because)}", 'provenance = "practice"', 'sources = ["common_practice"]')
    return "\n".join((*head, *_array(with_holidays(calendar, days)), *tail)) + "\n"


def _array(closed: Iterable[BlockedWeeks]) -> list[str]:
    rows = [f"  {{ reason = {_text(one.reason)}, from = {one.from_date}, to = {one.to_date} }}," for one in closed]
    return ["blocked = [", *rows, "]"]


def _text(words: str) -> str:
    return tomlkit.item(words).as_string()
