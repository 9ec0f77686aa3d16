"""The words of the documents: `rules/wording/<language>.toml`, each whole; numbers and days as CLDR has them.

Reads its own files and nothing else; a clinic's file is handed over as text.
"""

from __future__ import annotations

import datetime
import string
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import tomli

from pathway.days import completed_months
from pathway.plain_text import not_plain
from pathway.problems import refused
from pathway.shipped import RULES, shipped

if TYPE_CHECKING:
    from pathway.views.words.cldr import Direction, Joint

Text = str | tuple[str, ...] | Mapping[str, str]
"""A text, a list of texts, or one text for each plural category of the language (`one`, `other`, ...)."""
FIRST = "en"
CATEGORIES = frozenset({"zero", "one", "two", "few", "many", "other"})
"""The plural categories of CLDR; which of them a language has is in its data."""
RULE_WORDS = "rule_words"
KINDS = (
    "stages",
    "devices",
    "findings",
    "limits",
    "cautions",
    "printed",
    "stage_harms",
    "stop_rules",
    "follow_ups",
    "sources",
)
"""The kinds of rule whose words families read. Their English stands in the rules, see `words/rule_words.py`."""
COMPLETE = "translate it: a language that ships is whole"


@dataclass(frozen=True, slots=True)
class Wording:
    """The words of one language: `texts` by dotted name, and how it writes numbers, days and lists.

    `own` names the words of rules (`stages.examination`) that a clinic has put in its own words, whose translation
    would say what the clinic does not.
    """

    language: str
    texts: Mapping[str, Text]
    own: frozenset[str] = field(default=frozenset())

    def say(self, name: str, /, **values: object) -> str:
        """Return the words of that name with their {places} filled; whole numbers and days as the language has them.

        A text with plural forms needs a `count`. Raises KeyError for an unknown name, a list, and a count left out.
        """
        text = self.texts[name]
        if isinstance(text, Mapping):
            text = text.get(self._plural(values["count"])) or text["other"]
        if not isinstance(text, str):
            raise KeyError(f"{name} is a list")
        return text.format(**{place: self._shown(value) for place, value in values.items()}) if values else text

    def items(self, name: str) -> tuple[str, ...]:
        """Return a list of words; raises KeyError for an unknown name and for plural forms."""
        text = self.texts[name]
        if isinstance(text, Mapping):
            raise KeyError(f"{name} has plural forms")
        return (text,) if isinstance(text, str) else text

    def has(self, name: str) -> bool:
        """Return whether there are words of that name."""
        return name in self.texts

    def of_rule(self, kind: str, id: str, english: str) -> str:
        """Return the words of a rule: `english` as the rules have it, or the same in this language.

        A clinic's own rule, or one that it reworded, is said as the clinic wrote it.
        """
        name = f"{RULE_WORDS}.{kind}.{id}"
        if f"{kind}.{id}" in self.own or name not in self.texts:
            return english
        return self.say(name)

    def for_rules(self, used: Mapping[str, str], shipped: Mapping[str, str]) -> Wording:
        """Return these words for a child's rules: `used` and `shipped` are the English of each, by kind and id.

        Raises Refused where a shipped rule has no words in this language.
        """
        if self.language != FIRST:
            for name, english in shipped.items():
                if f"{RULE_WORDS}.{name}" not in self.texts:
                    kind, _, id = name.partition(".")
                    place = f"wording/{self.language}.toml: {RULE_WORDS}.{kind}.{id!r}"
                    raise refused(place, "no words", f"what is in English {english!r}", COMPLETE)
        return replace(self, own=frozenset(name for name, english in used.items() if shipped.get(name) != english))

    @property
    def direction(self) -> Direction:
        """Return the direction in which the language is written."""
        from pathway.views.words import cldr

        return cldr.direction(self.locale)

    @property
    def locale(self) -> str:
        """Return the name by which CLDR knows the language: `en-GB`."""
        return self.say("locale")

    def number(self, value: float, places: int = 0) -> str:
        """Return a number with so many decimals: `1.5`, in German `1,5`."""
        from pathway.views.words import cldr

        return cldr.number(value, places, self.locale)

    def cm(self, mm: float) -> str:
        """Return a length: `17.5 cm`, in German `17,5 cm`."""
        from pathway.views.words import cldr

        return cldr.centimetres(mm / 10, 1, self.locale)

    def many(self, count: int) -> str:
        """Return a small number as a word, a greater one in figures."""
        names = self.items("numbers")
        return names[count] if 0 <= count < len(names) else self.number(count)

    def month(self, day: datetime.date) -> str:
        """Return month and year, as exact as a plan may be: `March 2030`."""
        from pathway.views.words import cldr

        return cldr.month(day, self.locale)

    def day(self, day: datetime.date) -> str:
        """Return a day: `25 November 2026`."""
        from pathway.views.words import cldr

        return cldr.day(day, self.locale)

    def clock(self, time: datetime.time) -> str:
        """Return an hour of the day: `08:00`."""
        from pathway.views.words import cldr

        return cldr.clock(time, self.locale)

    def age(self, years: float, *, months: bool = False) -> str:
        """Return the age in completed years (`age 4`), with `months` and completed months (`4 years and 3 months`)."""
        from pathway.views.words import cldr

        if not months:
            whole = int(years + 1e-3)
            return self.say("age", count=whole, years=whole)
        whole, rest = divmod(completed_months(years), 12)
        parts = [cldr.span(whole, "year", self.locale)] if whole else []
        if rest or not whole:
            parts.append(cldr.span(rest, "month", self.locale))
        return self.joined(parts)

    def joined(self, parts: Sequence[str], joint: Joint = "standard") -> str:
        """Return parts as a list in words: `a, b and c`, with the joint `or`: `a, b or c`."""
        from pathway.views.words import cldr

        return cldr.listed(parts, joint, self.locale)

    def inner(self, text: str) -> str:
        """Return a text as it stands within a sentence; German keeps the capitals of its nouns and whole sentences."""
        small = self.say("inner_case") == "lower" or (
            not text.endswith(".") and text.partition(" ")[0] in self.items("small_inside")
        )
        return text[:1].lower() + text[1:] if small else text

    def _plural(self, count: object) -> str:
        from pathway.views.words import cldr

        if not isinstance(count, int):
            raise KeyError(f"a count is a whole number, not {count!r}")
        return cldr.plural(count, self.locale)

    def _shown(self, value: object) -> object:
        if isinstance(value, int) and not isinstance(value, bool):
            return self.number(value)
        return self.day(value) if isinstance(value, datetime.date) else value


def languages() -> tuple[str, ...]:
    """Return the languages that ship, as the names of their files."""
    names = (entry.name for entry in shipped(RULES).joinpath("wording").iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


@lru_cache
def wording(language: str = FIRST, clinic: str | None = None, name: str = "the clinic's words") -> Wording:
    """Return the words of a language, a clinic's own file (its text) laid over them string by string.

    Raises Refused for an unknown language, for one of ours that is not whole, and for a file with names, places or
    kinds of ours mistaken.
    """
    if language not in languages():
        raise refused("--language", repr(language), f"one of {', '.join(languages())}", "")
    own = whole_language(_shipped(language), f"wording/{language}.toml")
    if clinic is None:
        return own
    return replace(own, texts={**own.texts, **_checked(_english(), _texts(clinic, name), name, own.locale)})


def whole_language(text: str, name: str) -> Wording:
    """Return the words of a file that has every text of ours; `name` is said of it where it has not.

    Raises Refused at the first text that is missing or strange, with its name and what to do.
    """
    first = _english()
    texts = _texts(text, name)
    locale = texts.get("locale", "")
    found = _checked(first, texts, name, locale if isinstance(locale, str) else "")
    for key, english in first.items():
        if key not in found:
            raise refused(f"{name}: {key}", "no words", f"what is in English {_sample(english)!r}", COMPLETE)
        words = found[key]
        if not isinstance(english, str) and isinstance(english, Mapping) and isinstance(words, Mapping):
            _whole_forms(words, f"{name}: {key}", str(locale))
    return Wording(str(found["language"]), found)


def _sample(text: Text) -> str:
    if isinstance(text, str):
        return text
    return text["other"] if isinstance(text, Mapping) else text[0]


def _whole_forms(words: Mapping[str, str], place: str, locale: str) -> None:
    from pathway.views.words import cldr

    if missing := sorted(cldr.plurals(locale) - set(words)):
        raise refused(place, f"no form {missing[0]!r}", f"each of {', '.join(sorted(cldr.plurals(locale)))}", COMPLETE)


@lru_cache
def _english() -> Mapping[str, Text]:
    return _texts(_shipped(FIRST), f"wording/{FIRST}.toml")


def _shipped(language: str) -> str:
    return shipped(RULES).joinpath("wording", f"{language}.toml").read_text(encoding="utf-8")


def _texts(text: str, name: str) -> dict[str, Text]:
    try:
        return dict(_flat(tomli.loads(text), "", name))
    except RecursionError:
        raise refused(name, "brackets nested too deep", "a file of words", "check that it is one") from None
    except ValueError as error:  # no TOML, or a number of thousands of digits
        raise refused(name, f"no TOML ({error})", "a file of words", "correct that line") from None


def _flat(table: Mapping[str, object], path: str, name: str) -> Iterator[tuple[str, Text]]:
    for key, value in table.items():
        if isinstance(value, dict) and "other" in value and set(value) <= CATEGORIES:
            strange = next((one for one in value.values() if not isinstance(one, str)), None)
            if strange is not None:
                raise refused(f"{name}: {path}{key}", repr(strange), "words in quotes for each plural form", "")
            yield f"{path}{key}", value
        elif isinstance(value, dict):
            yield from _flat(value, f"{path}{key}.", name)
        elif isinstance(value, str):
            yield f"{path}{key}", value
        elif isinstance(value, list) and all(isinstance(item, str) for item in value):
            yield f"{path}{key}", tuple(value)
        else:
            raise refused(f"{name}: {path}{key}", repr(value), "words in quotes or a list of them", "")


def _checked(first: Mapping[str, Text], found: dict[str, Text], name: str, locale: str) -> dict[str, Text]:
    """Return the words of a file after comparing them with English; raises Refused at the first fault."""
    from pathway.views.words import cldr

    for place, what in not_plain(found):
        raise refused(f"{name}: {place}", what, "plain text", "remove it")
    written = found.get("locale", locale)
    if not isinstance(written, str) or not cldr.is_known(written):
        raise refused(f"{name}: locale", repr(written), "the name of a language as CLDR has it, such as de-AT", "")
    if found.get("inner_case", "lower") not in ("lower", "kept"):
        raise refused(f"{name}: inner_case", repr(found["inner_case"]), "lower or kept", "")
    for key, words in found.items():
        if key.startswith(f"{RULE_WORDS}."):
            _check_rule_words(key, words, name)
            continue
        if key not in first:
            raise refused(name, key, f"a name of wording/{FIRST}.toml", "look for a slip in it")
        _check_kind(first[key], words, f"{name}: {key}", cldr.plurals(written))
        known = _places(first[key], name, key)
        strange = _places(words, name, key) - known
        if strange:
            can = ", ".join(sorted(known)) or "none"
            raise refused(f"{name}: {key}", f"the place {{{min(strange)}}}", f"of these: {can}", "")
    return found


def _check_kind(english: Text, words: Text, place: str, forms: frozenset[str]) -> None:
    """Refuse a list in place of a text or the other way round; plural forms only where ours has them."""
    if isinstance(english, str | tuple) and type(words) is not type(english):
        raise refused(place, repr(words), "one text" if isinstance(english, str) else "a list", "")
    if isinstance(words, tuple) and not isinstance(english, tuple):
        raise refused(place, repr(words), "one text for each plural form", "")
    if isinstance(words, Mapping) and (strange := sorted(set(words) - forms)):
        raise refused(place, f"the form {strange[0]!r}", f"of these: {', '.join(sorted(forms))}", "leave it out")


def _check_rule_words(key: str, words: Text, name: str) -> None:
    kind, _, id = key.removeprefix(f"{RULE_WORDS}.").partition(".")
    if kind not in KINDS or not id:
        raise refused(name, key, f"{RULE_WORDS}.KIND.ID, where KIND is one of {', '.join(KINDS)}", "look for a slip")
    if not isinstance(words, str) or not words.strip():
        raise refused(f"{name}: {key}", repr(words), "one text", "")
    if _places(words, name, key):
        raise refused(f"{name}: {key}", "a {place}", "words without places", "write the braces out")


def _places(words: Text, name: str, key: str) -> set[str]:
    """Return the {places} in words, with what is said of their form; a lone brace is a fault."""
    try:
        lines = (words,) if isinstance(words, str) else words.values() if isinstance(words, Mapping) else words
        parsed = [part for line in lines for part in string.Formatter().parse(line)]
        return {
            f"{place}{f'!{turned}' if turned else ''}{f':{form}' if form else ''}"
            for _, place, form, turned in parsed
            if place is not None
        }
    except ValueError as error:
        raise refused(f"{name}: {key}", f"a lone brace ({error})", "{name}", "close it") from None
