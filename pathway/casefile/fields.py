"""Taking typed fields out of a parsed table; every complaint is gathered, none stops the reading."""

from __future__ import annotations

import datetime
import difflib
import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from pathway.casefile.lines import Path, dotted, field_lines, line_of
from pathway.plain_text import hidden_in, visible
from pathway.problems import Problem
from pathway.record import LAST_YEAR

Table = Mapping[str, object]

NAMES = "see `limb-pathway rules list` for the names"
_LONGEST_SHOWN = 60
_LONGEST_LIST = 8


@dataclass
class Complaints:
    """The faults of one text, gathered while it is read."""

    where: str
    entries: list[tuple[Path, str, str, str]] = field(default_factory=list)

    def add(self, path: Path, found: str, expected: str, do: str) -> None:
        """Keep one complaint about the field at `path`."""
        self.entries.append((path, found, expected, do))

    def faults(self, text: str) -> tuple[Problem, ...]:
        """Return the complaints as faults with their lines in `text`, in the order of the lines."""
        if not self.entries:
            return ()
        lines = field_lines(text)
        faults = [
            Problem(self.where, dotted(path), line_of(lines, path), found, expected, do)
            for path, found, expected, do in self.entries
        ]
        return tuple(sorted(faults, key=lambda fault: fault.line or 0))


class Fields:
    """One table of the text: each field is taken once, and what nobody took is complained of by `done`."""

    def __init__(self, complaints: Complaints, path: Path, table: Table) -> None:
        self.complaints = complaints
        self.path = path
        self.table = table
        self._taken: list[str] = []

    def take(self, key: str) -> object | None:
        """Return the raw value of `key` and count it as known; None when it is missing."""
        self._taken.append(key)
        return self.table.get(key)

    def wrong(self, key: str, expected: str, do: str, found: str | None = None) -> None:
        """Complain of the field `key`; what was found is shown as written unless `found` says it."""
        shown = show(self.table.get(key)) if found is None else found
        self.complaints.add((*self.path, key), shown, expected, do)

    def has(self, key: str) -> bool:
        """Return whether the text gives the field at all."""
        return key in self.table

    def missing(self, key: str, expected: str) -> None:
        """Complain that a required field is not there."""
        self.wrong(key, expected, f"add `{key} = …`")

    def text(self, key: str, required: str = "") -> str:
        """Return a text, "" when missing; `required` says what is expected when it must be there."""
        value = self.take(key)
        if value is None:
            if required:
                self.missing(key, required)
            return ""
        if not isinstance(value, str):
            self.wrong(key, required or "text", "put it between double quotes")
            return ""
        if required and not value.strip():
            self.wrong(key, required, "write it between the quotes", found="empty text")
        hidden = hidden_in(value)
        if hidden is not None:
            self.wrong(key, "plain text", "remove it", found=f"a character that nobody sees ({hidden[1]})")
            return visible(value)
        return value

    def choice(self, key: str, options: Collection[str], what: str, required: bool = False) -> str | None:
        """Return a text that is one of `options`, None (with a complaint where due) otherwise."""
        value = self.take(key)
        if value is None:
            if required:
                self.missing(key, one_of(options, what))
            return None
        if isinstance(value, str) and value in options:
            return value
        self.wrong(key, one_of(options, what), choose(value, options))
        return None

    def words(self, key: str, options: Collection[str], what: str) -> tuple[str, ...]:
        """Return a list of texts, each one of `options`; empty when missing."""
        value = self.take(key)
        if value is None:
            return ()
        if not isinstance(value, list):
            self.wrong(key, f"a list of {what} names", f'put it between brackets: `{key} = ["…"]`')
            return ()
        for position, word in enumerate(value):
            path = (*self.path, key, position)
            if not isinstance(word, str) or word not in options:
                self.complaints.add(path, show(word), one_of(options, what), choose(word, options))
            elif word in value[:position]:
                self.complaints.add(path, show(word), f"each {what} once", "remove the second one")
        return tuple(word for word in value if isinstance(word, str))

    def day(self, key: str, required: bool = False) -> datetime.date | None:
        """Return a calendar day, None (with a complaint where due) otherwise."""
        value = self.take(key)
        if value is None:
            if required:
                self.missing(key, "a date")
        elif isinstance(value, datetime.datetime):
            self.wrong(key, "a date without a time of day", f"write {value.date().isoformat()}")
        elif isinstance(value, datetime.date):
            if value.year <= LAST_YEAR:
                return value
            self.wrong(key, f"a year up to {LAST_YEAR}", "correct the year")
        elif isinstance(value, str):
            self.wrong(key, "a date", "write it as year-month-day without quotes, such as 2024-03-20")
        else:
            self.wrong(key, "a date", "write it as year-month-day, such as 2024-03-20")
        return None

    def number(self, key: str, low: float, high: float, unit: str) -> float | None:
        """Return a finite number between `low` and `high`, None (with a complaint where due) otherwise."""
        value = self.take(key)
        return None if value is None else self.as_number(key, value, low, high, unit)

    def as_number(self, key: str, value: object, low: float, high: float, unit: str) -> float | None:
        """Return `value`, found at `key`, as a finite number in range; None with a complaint otherwise."""
        above = "at least " if high == math.inf else ""
        expected = f"{above}{_plain(low)}{'' if above else f' to {_plain(high)}'} {unit}".rstrip()
        if isinstance(value, bool) or not isinstance(value, int | float):
            do = "write the number without quotes" if isinstance(value, str) else "write a number"
            self.wrong(key, f"a number, {expected}", do, found=show(value))
        elif not math.isfinite(value) if isinstance(value, float) else abs(value) > 10**300:
            self.wrong(key, f"a number, {expected}", "write the number as measured", found=show(value))
        elif not low <= value <= high:
            self.wrong(key, expected, _look_again(value, low, high, unit), found=show(value))
        else:
            return float(value)
        return None

    def one_table(self, key: str, required: bool = False) -> Fields | None:
        """Return the table `[key]` inside this one, None when it is missing or no table."""
        value = self.take(key)
        header = dotted((*(step for step in self.path if isinstance(step, str)), key))
        if isinstance(value, Mapping):
            return Fields(self.complaints, (*self.path, key), value)
        if value is not None:
            self.wrong(key, f"a table [{header}]", f"write [{header}] on a line of its own, its fields below")
        elif required:
            self.wrong(key, f"a table [{header}]", f"add a line [{header}] with its fields below")
        return None

    def tables(self, key: str) -> list[Fields]:
        """Return the tables `[[key]]` of this one in the order of the text; empty when there is none."""
        value = self.take(key)
        if value is None:
            return []
        if not isinstance(value, list) or not all(isinstance(item, Mapping) for item in value):
            header = dotted((*(step for step in self.path if isinstance(step, str)), key))
            self.wrong(key, f"one [[{header}]] for each", f"write [[{header}]], with two brackets on each side")
            return []
        return [Fields(self.complaints, (*self.path, key, at), item) for at, item in enumerate(value)]

    def done(self, what: str) -> None:
        """Complain of every field that was not taken, with the nearest known name."""
        for key in self.table:
            if key not in self._taken:
                near = nearest(key, self._taken)
                do = f"did you mean `{near}`" if near else "remove it"
                self.wrong(key, f"a field of {what}", do, found=f"`{_short(key)}`, which is not known here")


def nearest(word: object, options: Collection[str]) -> str | None:
    """Return the option spelled most like `word`, None when none is near."""
    if not isinstance(word, str):
        return None
    near = difflib.get_close_matches(word[:_LONGEST_SHOWN].lower(), options, 1)
    return near[0] if near else None


def choose(word: object, options: Collection[str]) -> str:
    """Return what to do about a word that is none of `options`."""
    near = nearest(word, options)
    if near:
        return f'did you mean "{near}"'
    return "choose one of them" if len(options) <= _LONGEST_LIST else NAMES


def one_of(options: Collection[str], what: str) -> str:
    """Return the expectation in words: the options where they are few, else the kind of name."""
    if not options:
        return f"no {what}, the protocol has none"
    if len(options) > _LONGEST_LIST:
        return f"a {what} of the protocol ({len(options)} known)"
    quoted = [f'"{option}"' for option in options]
    return quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} or {quoted[-1]}"


def show(value: object) -> str:
    """Return a value as it stands in a case file, shortened; tables and lists are only named."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{_short(value)}"'
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, int) and abs(value) > 10**20:
        return "a number of more than 20 digits"
    return str(value)


def _short(text: str) -> str:
    line = visible(" ".join(text.split()))
    return line if len(line) <= _LONGEST_SHOWN else f"{line[: _LONGEST_SHOWN - 1]}…"


def _plain(number: float) -> str:
    return f"{number:.10g}"


def _look_again(value: float, low: float, high: float, unit: str) -> str:
    """Return what to do about a number out of range: the likely slip of unit where one fits."""
    if unit == "mm" and value > 0 and low <= value * 10 <= high:
        return f"did you mean {_plain(value * 10)}: mm, not cm"
    if unit == "mm" and value > 0 and low <= value / 10 <= high:
        return f"did you mean {_plain(value / 10)}, a tenth of it"
    if unit == "years" and low <= value / 12 <= high and float(value).is_integer():
        return f"did you mean {_plain(round(value / 12, 2))}: years, not months"
    return "check the measurement"
