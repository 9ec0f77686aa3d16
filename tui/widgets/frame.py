"""What stands on every screen: the title, the caution, and the keys at the bottom."""

from __future__ import annotations

from textual.widgets import Static

from pathway.views.words.caution import CAUTION
from tui.widgets.key_line import KeyLine


class Title(Static):
    """The first line: where one is."""

    DEFAULT_CSS = """
    Title { height: 1; background: $panel; color: $role-accent; text-style: bold; padding: 0 1; text-wrap: nowrap;
            text-overflow: ellipsis; }
    """

    def __init__(self, text: str = "", *, id: str | None = None) -> None:
        super().__init__(text, id=id, markup=False)


class Caution(Static):
    """The second line: what the program is, who decides, and whether the child is invented."""

    DEFAULT_CSS = """
    Caution { height: auto; color: $role-muted; padding: 0 1; }
    """

    def __init__(self) -> None:
        super().__init__(CAUTION, markup=False)
        self.invented = ""

    def say(self, invented: str) -> None:
        """Say of the children shown whether they are invented; nothing where they are not."""
        if invented != self.invented:
            self.invented = invented
            self.update(f"{CAUTION} · {invented}" if invented else CAUTION)


class Notice(Static):
    """Sentences that need attention, where there are any: faults, rules in conflict."""

    DEFAULT_CSS = """
    Notice { display: none; height: auto; max-height: 8; color: $role-stage-blocked; padding: 0 1; }
    Notice.shown { display: block; }
    Notice.calm { color: $role-accent; max-height: 4; }
    """

    def __init__(self, *, id: str | None = None, calm: bool = False) -> None:
        super().__init__("", id=id, markup=False, classes="calm" if calm else None)
        self.words = ""
        self._calm = calm

    def say(self, text: str, *, calm: bool = False) -> None:
        """Show sentences, in the colour of what needs no attention where they are `calm`; none hides the notice."""
        self.set_class(self._calm or calm, "calm")
        if text == self.words:
            return
        self.words = text
        self.update(text)
        self.set_class(bool(text), "shown")


def keys() -> KeyLine:
    """Return the keys that work on the screen."""
    return KeyLine()
