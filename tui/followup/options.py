"""Choices typed by a part of their words, as a form takes them. No screen in here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

MOST_NAMED = 4


class Unclear(Exception):
    """What was typed is none of the choices, or could be several; the text says which."""


@dataclass(frozen=True, slots=True)
class Option:
    """A choice: the value kept and the words shown."""

    value: str
    words: str


def plain_options(values: Sequence[str]) -> tuple[Option, ...]:
    """Return choices that are shown as they are kept, with blanks for underscores."""
    return tuple(Option(value, value.replace("_", " ")) for value in values)


def chosen(typed: str, options: Sequence[Option]) -> Option:
    """Return the one choice that a text means: its words or value in full, or a part that fits no other.

    Raises Unclear with what was found and what was expected.
    """
    text = _normal(typed)
    for option in options:
        if text in (_normal(option.words), _normal(option.value)):
            return option
    fits = [option for option in options if _normal(option.words).startswith(text)]
    if len(fits) != 1:
        fits = [option for option in options if all(word in _normal(option.words) for word in text.split())]
    if len(fits) == 1:
        return fits[0]
    if fits:
        raise Unclear(f'found "{typed}", which could be {_listed(fits)}; type more of it')
    raise Unclear(f'found "{typed}", expected {_listed(options)}; type a part of one')


def after(typed: str, options: Sequence[Option]) -> Option | None:
    """Return the choice after the one typed, the first that fits a part of one; None where there are no choices."""
    text = _normal(typed)
    whole = [place for place, one in enumerate(options) if text in (_normal(one.words), _normal(one.value))]
    if whole:
        return options[(whole[0] + 1) % len(options)]
    return fitting(typed, options)[0] if options else None


def fitting(typed: str, options: Sequence[Option]) -> tuple[Option, ...]:
    """Return the choices that a text may still become; all of them where it is one in full, or fits none."""
    text = _normal(typed)
    if any(text in (_normal(option.words), _normal(option.value)) for option in options):
        return tuple(options)
    fits = tuple(option for option in options if all(word in _normal(option.words) for word in text.split()))
    return fits or tuple(options)


def last_part(typed: str) -> tuple[str, str]:
    """Return what is typed of several choices: those before the last comma with it, and what comes after."""
    head, comma, tail = typed.rpartition(",")
    return (f"{head.rstrip()}{comma} " if comma else "", tail.strip())


def several(typed: str, options: Sequence[Option]) -> tuple[str, ...]:
    """Return the values of choices with commas between them, each once. Raises Unclear."""
    parts = [part.strip() for part in typed.split(",") if part.strip()]
    return tuple(dict.fromkeys(chosen(part, options).value for part in parts))


def _normal(text: str) -> str:
    return " ".join(text.replace("_", " ").lower().split())


def _listed(options: Sequence[Option]) -> str:
    words = [option.words for option in options[:MOST_NAMED]]
    more = len(options) - len(words)
    if more > 0:
        return f"{', '.join(words)} or {more} more"
    return " or ".join(words) if len(words) < 3 else f"{', '.join(words[:-1])} or {words[-1]}"
