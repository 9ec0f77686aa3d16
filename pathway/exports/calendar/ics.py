"""Calendar entries as an RFC 5545 file, and what an older file of the same child makes of their numbers.

Every entry is a whole day without a time zone: a stage is planned for a day, not for an hour. An entry keeps its
UID for ever; its SEQUENCE grows when what it says changes, so that a calendar replaces it and does not double it.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from icalendar import Alarm, Calendar, Component, Event

from pathway.exports.calendar.agenda import PLAN_PART, Entry
from pathway.exports.names import lasting_id
from pathway.problems import Problem, cannot
from pathway.views.words.wording import Wording

FIRST_DAY = datetime.date(2000, 1, 1)
"""SEQUENCE of a file that follows no other: the days from this one to the day of the plan."""

PRODUCT = "-//limb-pathway//calendar//EN"
PART = "X-LIMB-PATHWAY-PART"
LONGEST_SEQUENCE = 2**31 - 1


@dataclass(frozen=True, slots=True)
class Earlier:
    """An entry of an older file: its number, its part, what it said, and whether it was called off."""

    uid: str
    sequence: int
    part: str
    day: datetime.date
    said: tuple[str, ...]
    cancelled: bool


def calendar_bytes(
    child: str,
    entries: Iterable[Entry],
    on: datetime.date,
    stamp: datetime.datetime,
    about: str,
    words: Wording,
    previous: Mapping[str, Earlier] | None = None,
    parts: Iterable[str] = (PLAN_PART,),
) -> bytes:
    """Return the calendar file of one child.

    `child` is the pseudonym, `on` the day of the plan, `stamp` the moment (UTC) at which the file is made,
    `about` the words on the whole, `words` those of the language of the entries. SEQUENCE is the number of days from
    2000-01-01 to `on`, so that a later plan always wins. Where `previous` is the file sent before, an entry that says
    the same keeps its number, a changed one gets a higher one than it had, and one to come that the plan has no more
    is sent as CANCELLED. `parts` are those that the entries stand for: older entries of another part (a lengthening
    not asked for) stay as they are.

    Raises CannotBeDone where there is nothing to enter or to call off.
    """
    before, listed = previous or {}, tuple(entries)
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", words.say("calendar.name", child=child))
    calendar.add("x-wr-caldesc", about)
    number = (on - FIRST_DAY).days
    uids = set()
    for entry in listed:
        event = _event(child, entry, stamp, words.locale)
        uid = str(_of(event, "uid"))
        uids.add(uid)
        event.add("sequence", _sequence(event, before.get(uid), number))
        calendar.add_component(event)
    held = set(parts)
    for uid, old in before.items():
        if uid not in uids and old.day > on and old.part in held:
            calendar.add_component(_called_off(old, stamp, number, words))
    if not calendar.subcomponents:
        raise cannot(child, "no stage of the plan has a date, so there is no calendar to write", "see `plan`")
    return bytes(calendar.to_ical())


def read_previous(data: bytes, name: str) -> Mapping[str, Earlier] | Problem:
    """Return the entries of a file made by `calendar_bytes`, by UID; a fault where it is not one."""
    try:
        calendar = Calendar.from_ical(data)
        events = [_earlier(event) for event in calendar.walk("VEVENT")]
    except (ValueError, KeyError, AttributeError, IndexError, UnicodeDecodeError):
        return _not_ours(name, "text that is not a calendar, or an incomplete entry")
    if str(calendar.get("prodid", "")) != PRODUCT:
        return _not_ours(name, f"a calendar by {str(calendar.get('prodid', '')) or 'another program'}")
    return {event.uid: event for event in events}


def _not_ours(name: str, found: str) -> Problem:
    return Problem(name, "", None, found, "a calendar that this program wrote", "name the file that was sent before")


def _event(child: str, entry: Entry, stamp: datetime.datetime, language: str) -> Event:
    event = Event()
    event.add("uid", f"{lasting_id(child, entry.key)}@limb-pathway.invalid")
    event.add("dtstamp", stamp)
    event.add("dtstart", _plain(entry.day))
    event.add("dtend", _plain(entry.day) + datetime.timedelta(days=1))
    event.add("summary", entry.title, parameters={"LANGUAGE": language})
    event.add("description", "\n".join(entry.words), parameters={"LANGUAGE": language})
    event.add("status", "CONFIRMED" if entry.firm else "TENTATIVE")
    event.add("transp", "TRANSPARENT")
    event.add("class", "PRIVATE")
    event.add("categories", [entry.category])
    event.add(PART, entry.part)
    for reminder in entry.reminders:
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", reminder.words)
        alarm.add("trigger", reminder.after)
        event.add_component(alarm)
    return event


def _plain(day: datetime.date) -> datetime.date:
    return datetime.date(day.year, day.month, day.day)


def _sequence(event: Event, old: Earlier | None, number: int) -> int:
    if old is None:
        return number
    same = not old.cancelled and old.said == _said(event)
    return old.sequence if same else min(max(old.sequence + 1, number), LONGEST_SEQUENCE)


def _called_off(old: Earlier, stamp: datetime.datetime, number: int, words: Wording) -> Event:
    event = Event()
    event.add("uid", old.uid)
    event.add("dtstamp", stamp)
    event.add("dtstart", old.day)
    event.add("dtend", old.day + datetime.timedelta(days=1))
    event.add("summary", old.said[0])
    event.add("description", f"{words.say('calendar.gone')}\n{old.said[1]}" if not old.cancelled else old.said[1])
    event.add("status", "CANCELLED")
    event.add("transp", "TRANSPARENT")
    event.add("class", "PRIVATE")
    event.add(PART, old.part)
    event.add("sequence", old.sequence if old.cancelled else min(max(old.sequence + 1, number), LONGEST_SEQUENCE))
    return event


def _said(event: Component) -> tuple[str, ...]:
    words = [str(_of(event, name)) for name in ("summary", "description", "status")]
    return (*words, _of(event, "dtstart").dt.isoformat())


def _of(event: Component, name: str) -> Any:
    """Return a property of an entry; raises KeyError where it has none, ValueError where it has several."""
    value = event[name]
    if isinstance(value, list):
        raise ValueError(f"an entry of ours has one {name}")
    return value


def _earlier(event: Component) -> Earlier:
    start = _of(event, "dtstart").dt
    if isinstance(start, datetime.datetime) or not isinstance(start, datetime.date):
        raise ValueError("an entry of ours is a whole day")
    said = _said(event)
    number = int(_of(event, "sequence"))
    return Earlier(str(_of(event, "uid")), number, str(_of(event, PART)), start, said, said[2] == "CANCELLED")
