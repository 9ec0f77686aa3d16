"""Files as carelessness, broken programs and malice make them, from sound ones: the same again for the same number."""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

import numpy as np

One = TypeVar("One")

HOSTILE = (
    "\x00", "\x1b[2J\x1b]0;owned\x07", "\u202eevil\u202c", "\u2066", "\ufeff", "\u2028", "\x85", "\x9b31m",
    "\\u001b[31m", "\\u202e", "[bold red]", "[@click=app.quit]x[/]", "<script>alert(1)</script>",
    "#import \"/etc/passwd\"",
    "#sys.inputs", "$(touch /tmp/x)", "`id`", "';DROP TABLE entry;--", "../../x", "..\\..\\x", "/etc/passwd", "%n%s",
    "{0.__class__}", "{name:>999999999}", "\r\nBEGIN:VEVENT\r\n", "=HYPERLINK(\"x\")", "nan", "inf", "-inf", "1e999",
    "9" * 400, "-1", "0", "1.5.5", "2024-02-30", "9999-12-31", "0001-01-01", "2024-03-20T10:00:00Z", "true", "\"\"",
    "''", "\"\"\"", "[[", "]]", "{", "}", "=", ".", "a = 1", "[child]", "[[visit]]", "id = \"x\"",
    "\n", "\t", "é", "漢字",
    "\U0001f9b4", "null", "[" * 3000, "a." * 2000,
)  # fmt: skip
ATOMS: tuple[object, ...] = (
    None, True, -1, 0, 1.5, 1e308, 10**400, float("inf"), "", "x", "\x1b[31m", "\u202e", "../../x", "9999-12-31", "é",
    [], {}, [[]], [None], {"a": {"b": []}}, "2024-02-30T25:00:00Z", "0" * 64,
)  # fmt: skip


class Chance:
    """Draws that are the same again for the same number."""

    def __init__(self, number: int) -> None:
        self._draws = np.random.default_rng(number)

    def random(self) -> float:
        return float(self._draws.random())

    def randrange(self, low: int, high: int | None = None) -> int:
        return int(self._draws.integers(low) if high is None else self._draws.integers(low, high))

    def choice(self, several: Sequence[One]) -> One:
        return several[self.randrange(len(several))]

    def randbytes(self, count: int) -> bytes:
        return self._draws.bytes(count)


def mutated_text(text: str, number: int) -> bytes:
    """Return a text with a few things wrong in it, as bytes."""
    rng = Chance(number)
    data = text
    for _ in range(rng.choice((1, 1, 1, 2, 3, 8))):
        data = rng.choice(_TEXT_WAYS)(data, rng)
    made = data.encode("utf-8", "surrogatepass")
    if rng.random() < 0.08:
        at = rng.randrange(len(made) + 1)
        made = made[:at] + rng.randbytes(rng.randrange(1, 20)) + made[at:]
    return made


def mutated_json(text: str, number: int) -> bytes:
    """Return a JSON text with values taken away, exchanged, doubled or put elsewhere, or broken as a text."""
    rng = Chance(number)
    if rng.random() < 0.25:
        return mutated_text(text, number)
    data = copy.deepcopy(json.loads(text))
    for _ in range(rng.choice((1, 1, 2, 4))):
        _mutate(data, rng)
    return json.dumps(data, ensure_ascii=rng.random() < 0.5, allow_nan=True).encode("utf-8", "surrogatepass")


def _mutate(data: Any, rng: Chance) -> None:
    places = list(_places(data))
    if not places:
        return
    inside, key = rng.choice(places)
    way = rng.random()
    if way < 0.25:
        del inside[key]
    elif way < 0.7:
        inside[key] = rng.choice(ATOMS)
    elif way < 0.85:
        other, at = rng.choice(places)
        inside[key] = copy.deepcopy(other[at]) if at in other or (isinstance(at, int) and at < len(other)) else None
    elif isinstance(inside, list):
        inside.insert(rng.randrange(len(inside) + 1), copy.deepcopy(inside[key]))
    else:
        inside[f"{key}x"] = inside[key]


def _places(data: Any) -> list[tuple[Any, Any]]:
    found: list[tuple[Any, Any]] = []
    keys = list(data) if isinstance(data, dict) else range(len(data)) if isinstance(data, list) else ()
    for key in keys:
        found.append((data, key))
        found += _places(data[key])
    return found


def _inserted(text: str, rng: Chance) -> str:
    at = rng.randrange(len(text) + 1)
    return text[:at] + rng.choice(HOSTILE) + text[at:]


def _cut(text: str, rng: Chance) -> str:
    at = rng.randrange(len(text) + 1)
    return text[:at] if rng.random() < 0.3 else text[:at] + text[at + rng.randrange(1, 40) :]


def _value_exchanged(text: str, rng: Chance) -> str:
    values = list(re.finditer(r"(?<=[=:] )[^\n,}]+", text))
    if not values:
        return text
    one = rng.choice(values)
    new = rng.choice(HOSTILE)
    return text[: one.start()] + (f'"{new}"' if rng.random() < 0.6 else new) + text[one.end() :]


def _line_moved(text: str, rng: Chance) -> str:
    lines = text.split("\n")
    line = lines.pop(rng.randrange(len(lines)))
    for _ in range(rng.choice((0, 1, 2))):
        lines.insert(rng.randrange(len(lines) + 1), line)
    return "\n".join(lines)


_TEXT_WAYS: tuple[Callable[[str, Chance], str], ...] = (
    _inserted,
    _cut,
    _value_exchanged,
    _value_exchanged,
    _line_moved,
)
