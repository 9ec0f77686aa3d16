"""What was typed into a form, step by step: what is undone and done again. No screen in here.

What is typed into one field at a stretch is one step, so that undo takes back a value and not a letter.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

Typed = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Step:
    """One change: the field that it was made in ("" for all of them), all that was typed before and after it."""

    name: str
    before: Typed
    after: Typed
    letters: bool = False
    """Whether it was typed: more letters in the same field belong to it."""


@dataclass(frozen=True, slots=True)
class Steps:
    """What was typed by field, the steps that led there, those that were undone (last is newest)."""

    typed: Typed = field(default_factory=dict)
    done: tuple[Step, ...] = ()
    undone: tuple[Step, ...] = ()

    def with_text(self, name: str, text: str) -> Steps:
        """Return what is typed with a field's text as it is now; an empty one is as if nothing were typed there."""
        after = _with(self.typed, name, text)
        last = self.done[-1] if self.done else None
        if last is not None and last.letters and last.name == name and not self.undone:
            return Steps(after, (*self.done[:-1], replace(last, after=after)))
        return Steps(after, (*self.done, Step(name, self.typed, after, letters=True)))

    def without(self, name: str) -> Steps:
        """Return what is typed with a field cleared, a step of its own."""
        after = _with(self.typed, name, "")
        return Steps(after, (*self.done, Step(name, self.typed, after)))

    def cleared(self) -> Steps:
        """Return everything cleared, a step of its own."""
        return Steps({}, (*self.done, Step("", self.typed, {})))

    def undo(self) -> tuple[Steps, str]:
        """Return what was typed before the last step, and the field of that step; the same where there is none."""
        if not self.done:
            return self, ""
        last = self.done[-1]
        return Steps(last.before, self.done[:-1], (*self.undone, last)), last.name

    def redo(self) -> tuple[Steps, str]:
        """Return what was typed after the step undone last, and its field; the same where there is none."""
        if not self.undone:
            return self, ""
        last = self.undone[-1]
        return Steps(last.after, (*self.done, last), self.undone[:-1]), last.name


def _with(typed: Typed, name: str, text: str) -> Typed:
    others = {one: words for one, words in typed.items() if one != name}
    # Of a field that is typed in again the place among the others stays.
    return {**(dict(typed) if name in typed else others), name: text.strip()} if text.strip() else others
