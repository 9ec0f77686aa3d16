"""What the words in the cells of a table stand for: the clinic's own first, then ours; and which were used."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import get_args

from pathway.protocol.model import Protocol
from pathway.record import Sex
from pathway.tables.words import BOTH, DIAGNOSES, METHODS, SEXES, SIDES, folded


class Vocabulary:
    """Looks words up, table by table (`methods`, `sides`, …), and keeps what was looked up in `used`."""

    def __init__(self, protocol: Protocol, own: Mapping[str, Mapping[str, str | bool]]) -> None:
        self._own = own
        self._known: dict[str, tuple[tuple[str, ...], Mapping[str, str]]] = {
            "methods": _named({one.id: one.label for one in protocol.methods}, METHODS),
            "skeletal_methods": _named({one.id: one.label for one in protocol.skeletal_methods}, {}),
            "diagnoses": _named({one.id: one.label for one in protocol.diagnoses}, DIAGNOSES),
            "sexes": (get_args(Sex), SEXES),
            "sides": (("left", "right", "affected", "other", "both"), {**SIDES, **dict.fromkeys(BOTH, "both")}),
        }
        self.used: dict[str, dict[str, str]] = {}

    def own(self, table: str, word: str) -> str | None:
        """Return what the clinic's mapping says of a word, None where it says nothing."""
        said = self._own.get(table, {}).get(word)
        return said if isinstance(said, str) else None

    def meant(self, table: str, word: str) -> str | None:
        """Return what a word stands for, None where nobody knows it."""
        options, words = self._known[table]
        own = self.own(table, word)
        meant = own if own is not None else word if word in options else words.get(folded(word))
        if meant is None or meant not in options:
            return None
        self.tell(table, word, meant)
        return meant

    def tell(self, table: str, word: str, meant: str) -> None:
        """Keep that a word was used, where it is not ours."""
        if word != meant:
            self.used.setdefault(table, {})[word] = meant

    def options(self, table: str) -> str:
        """Return in words what a table can stand for."""
        options = self._known[table][0]
        return f"one of {', '.join(options)}"


def _named(labels: Mapping[str, str], words: Mapping[str, str]) -> tuple[tuple[str, ...], Mapping[str, str]]:
    known: Collection[str] = labels
    others = {word: meant for word, meant in words.items() if meant in known}
    return tuple(labels), {**others, **{folded(label): id for id, label in labels.items()}}
