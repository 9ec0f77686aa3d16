"""The words of the documents: `rules/wording/<language>.toml`, with English behind whatever is missing.

Reads its own files and nothing else; a clinic's file is handed over as text.
"""

from __future__ import annotations

import string
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

from pathway.plain_text import not_plain
from pathway.problems import refused

Text = str | tuple[str, ...]
FIRST = "en"


@dataclass(frozen=True, slots=True)
class Wording:
    """The words of one language. `texts` by dotted name; `missing` are those taken from English."""

    language: str
    texts: Mapping[str, Text]
    missing: tuple[str, ...] = ()

    def say(self, name: str, /, **values: object) -> str:
        """Return the words of that name with their {places} filled; raises KeyError for an unknown name."""
        text = self.texts[name]
        if not isinstance(text, str):
            raise KeyError(f"{name} is a list")
        return text.format(**values) if values else text

    def items(self, name: str) -> tuple[str, ...]:
        """Return a list of words; raises KeyError for an unknown name."""
        text = self.texts[name]
        return (text,) if isinstance(text, str) else text

    def has(self, name: str) -> bool:
        """Return whether there are words of that name."""
        return name in self.texts

    @property
    def notice(self) -> str:
        """Return the sentence that some words are still English, or ""."""
        return self.say("fallback", name=self.say("name")) if self.missing else ""


def languages() -> tuple[str, ...]:
    """Return the languages that ship, as the names of their files."""
    names = (entry.name for entry in resources.files("rules").joinpath("wording").iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


@lru_cache
def wording(language: str = FIRST, clinic: str | None = None, name: str = "the clinic's words") -> Wording:
    """Return the words of a language, a clinic's own file (its text) laid over them string by string.

    Raises Refused for an unknown language and for a file with names, places or kinds of ours mistaken.
    """
    if language not in languages():
        raise refused("--language", repr(language), f"one of {', '.join(languages())}", "")
    first = _texts(_shipped(FIRST), f"wording/{FIRST}.toml")
    own = first if language == FIRST else _checked(first, _shipped(language), f"wording/{language}.toml")
    over = {} if clinic is None else _checked(first, clinic, name)
    missing = tuple(key for key in first if key not in own and key not in over)
    return Wording(language, {**first, **own, **over}, missing)


def _shipped(language: str) -> str:
    return resources.files("rules").joinpath("wording", f"{language}.toml").read_text(encoding="utf-8")


def _texts(text: str, name: str) -> dict[str, Text]:
    try:
        return dict(_flat(tomllib.loads(text), "", name))
    except RecursionError:
        raise refused(name, "brackets nested too deep", "a file of words", "check that it is one") from None
    except ValueError as error:  # no TOML, or a number of thousands of digits
        raise refused(name, f"no TOML ({error})", "a file of words", "correct that line") from None


def _flat(table: Mapping[str, object], path: str, name: str) -> Iterator[tuple[str, Text]]:
    for key, value in table.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{path}{key}.", name)
        elif isinstance(value, str):
            yield f"{path}{key}", value
        elif isinstance(value, list) and all(isinstance(item, str) for item in value):
            yield f"{path}{key}", tuple(value)
        else:
            raise refused(f"{name}: {path}{key}", repr(value), "words in quotes or a list of them", "")


def _checked(first: Mapping[str, Text], text: str, name: str) -> dict[str, Text]:
    """Return the words of a file after comparing it with English; raises Refused at the first fault."""
    found = _texts(text, name)
    for place, what in not_plain(found):
        raise refused(f"{name}: {place}", what, "plain text", "remove it")
    for key, words in found.items():
        if key not in first:
            raise refused(name, key, f"a name of wording/{FIRST}.toml", "look for a slip in it")
        if isinstance(words, str) != isinstance(first[key], str):
            kind = "one text" if isinstance(first[key], str) else "a list"
            raise refused(f"{name}: {key}", repr(words), kind, "")
        if key == "months" and len(words) != len(first[key]):
            raise refused(f"{name}: {key}", f"{len(words)} names", f"{len(first[key])} names", "")
        known = _places(first[key], name, key)
        strange = _places(words, name, key) - known
        if strange:
            can = ", ".join(sorted(known)) or "none"
            raise refused(f"{name}: {key}", f"the place {{{min(strange)}}}", f"of these: {can}", "")
    return found


def _places(words: Text, name: str, key: str) -> set[str]:
    """Return the {places} in words, with what is said of their form; a lone brace is a fault."""
    try:
        lines = (words,) if isinstance(words, str) else words
        parsed = [part for line in lines for part in string.Formatter().parse(line)]
        return {
            f"{place}{f'!{turned}' if turned else ''}{f':{form}' if form else ''}"
            for _, place, form, turned in parsed
            if place is not None
        }
    except ValueError as error:
        raise refused(f"{name}: {key}", f"a lone brace ({error})", "{name}", "close it") from None
