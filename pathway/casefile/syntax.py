"""From text to a parsed TOML table, or the one fault that says which line is not TOML."""

from __future__ import annotations

import re

import tomli

from pathway.casefile.fields import Table
from pathway.problems import Problem

LONGEST_TEXT = 300_000
LONGEST_LINE = 10_000

_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_HINTS = (
    ("overwrite a value", "each field once", "remove one of the two, or join them"),
    ("Cannot declare", "each table once", "write [[visit]] with two brackets, or join the two"),
    ("Invalid value", "a value", "put text between quotes; write dates as 2024-03-20, decimals as 1.5"),
    ("Invalid date", "a date of the calendar", "write it as year-month-day, such as 2024-03-20"),
    ("Unescaped", "text without a bare backslash", "write \\\\ for a backslash"),
    ("Illegal character '\\n'", "a closing quote", 'close the text with "'),
    ("Illegal character", "plain text", "write the text on one line between double quotes"),
    ("Unterminated string", "a closing quote", 'close the text with "'),
    ("Expected '='", "`field = value`", "write one field per line, with = between name and value"),
    (
        "Expected newline",
        "nothing after the value",
        "write text between quotes, dates as 2024-03-20, decimals as 1.5",
    ),
    ("Invalid initial character", "a field name", "write `field = value`; names have letters, digits and _"),
    ("Unclosed", "a closing bracket", "close the bracket"),
    ("Expected ']", "a closing bracket", "close the bracket"),
)


def parse(text: str, name: str) -> Table | Problem:
    """Return the parsed table of a TOML text, or the fault with the line where it stops being TOML.

    Texts above `LONGEST_TEXT` characters or with a line above `LONGEST_LINE` are refused unread: no case file
    is that long, and hostile ones take very long to read.
    """
    if len(text) > LONGEST_TEXT:
        found, expected = f"text of {len(text)} characters", f"at most {LONGEST_TEXT}"
        return Problem(name, "", None, found, expected, "check that this is a case file")
    for number, line in enumerate(text.split("\n"), start=1):
        if len(line) > LONGEST_LINE:
            found, expected = f"a line of {len(line)} characters", f"at most {LONGEST_LINE}"
            return Problem(name, "", number, found, expected, "check that this is a case file")
    try:
        return tomli.loads(text)
    except RecursionError:
        expected, do = "tables and lists a few levels deep", "check that this is a case file"
        return Problem(name, "", None, "brackets nested too deep", expected, do)
    except ValueError as error:  # tomli's own error, or int() of thousands of digits
        return _syntax_fault(str(error), text, name)


def _syntax_fault(message: str, text: str, name: str) -> Problem:
    place = _PLACE.search(message)
    problem = _PLACE.sub("", message)
    lines = text.split("\n")
    number = None
    if place is not None:
        number = int(place[1]) if place[1] else max(1, len(text.rstrip().split("\n")))
    shown = "text that is not TOML" if number is None else _shown(lines[min(number, len(lines)) - 1])
    for sign, expected, do in _HINTS:
        if sign in problem:
            return Problem(name, "", number, shown, expected, do)
    return Problem(name, "", number, shown, "a line of TOML", f"correct the line ({problem})")


def _shown(line: str) -> str:
    words = " ".join(line.split())
    if not words:
        return "an empty line"
    return f"`{words}`" if len(words) <= 60 else f"`{words[:59]}…`"
