"""Characters that nobody sees: they steer a terminal or turn the order of letters, and are refused or made visible."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping

_SEEN = frozenset("\n\t\u200c\u200d")
"""What may stand in a text though it has no shape: line ends, tabs, and the joiners that some scripts need."""
PSEUDONYM = re.compile(r"[a-z0-9-]+")
"""How a child may be called, wherever its name comes from."""
_APART = re.compile(r"[\s_/.]+")
DEEPEST = 40
_HIDDEN = frozenset(("Cc", "Cf", "Cs", "Zl", "Zp"))


def pseudonym_of(text: str) -> str:
    """Return a name as ids are kept: small letters, hyphens in place of spaces; it may be none all the same."""
    return _APART.sub("-", text.lower()).strip("-")


def hidden_in(text: str) -> tuple[int, str] | None:
    """Return the place of the first character that nobody sees, with its name (`U+202E`), or None."""
    # Nearly every text is plain, and has few characters that differ.
    hidden = {one for one in set(text) if _is_hidden(one)}
    return next(((at, _name(one)) for at, one in enumerate(text) if one in hidden), None) if hidden else None


def visible(text: str) -> str:
    """Return text in which every character that nobody sees stands as its number: `<U+001B>`."""
    if hidden_in(text) is None:
        return text
    return "".join(f"<{_name(one)}>" if _is_hidden(one) else one for one in text)


def json_visible(text: str) -> str:
    """Return JSON that says the same, with every character that nobody sees written as JSON escapes it.

    In JSON such a character can only stand inside a text.
    """
    if hidden_in(text) is None:
        return text
    return "".join(_escaped(one) if _is_hidden(one) else one for one in text)


def not_plain(data: object) -> Iterator[tuple[str, str]]:
    """Yield where parsed data (tables, lists, texts) is not plain: its dotted place, and what was found there.

    That is a character that nobody sees, or tables and lists nested beyond `DEEPEST`, which are not looked into.
    """
    todo: list[tuple[str, object, int]] = [("", data, 0)]
    while todo:
        place, value, depth = todo.pop()
        if isinstance(value, str):
            hidden = hidden_in(value)
            if hidden is not None:
                yield place, f"a character that nobody sees ({hidden[1]})"
        elif depth >= DEEPEST and isinstance(value, Mapping | list | tuple):
            yield place, f"tables or lists nested more than {DEEPEST} deep"
        elif isinstance(value, Mapping):
            todo += [(place, key, depth + 1) for key in value]
            todo += [(f"{place}.{visible(str(key))}".lstrip("."), inside, depth + 1) for key, inside in value.items()]
        elif isinstance(value, list | tuple):
            todo += [(place, inside, depth + 1) for inside in value]


def _is_hidden(one: str) -> bool:
    return one not in _SEEN and unicodedata.category(one) in _HIDDEN


def _name(one: str) -> str:
    return f"U+{ord(one):04X}"


def _escaped(one: str) -> str:
    units = one.encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[at]:02x}{units[at + 1]:02x}" for at in range(0, len(units), 2))
