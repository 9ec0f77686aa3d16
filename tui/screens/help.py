"""Help: the keys of every screen and the marks of the stages."""

from __future__ import annotations

from collections.abc import Iterator

from textual.app import ComposeResult

from pathway.views.pictures.curve import MEASURED
from pathway.views.pictures.picture import Role, stage_role
from pathway.views.words.paragraphs import Say
from pathway.views.words.plan import STATUS_MARKS, STATUS_WORDS
from tui import keys
from tui.screens.base import OwnScreen
from tui.widgets import frame
from tui.widgets.prose import Prose


class HelpScreen(OwnScreen):
    """The keys and the marks."""

    DEFAULT_CSS = """
    HelpScreen Prose { height: 1fr; padding: 1 2; }
    """

    def compose(self) -> ComposeResult:
        """Lay out title, caution, text, keys."""
        yield frame.Title("Help: keys and marks")
        yield frame.Caution()
        yield Prose(id="text")
        yield frame.keys()

    def on_mount(self) -> None:
        """Show the words."""
        prose = self.query_one(Prose)
        prose.focus()
        prose.say(words())

    def action_help(self) -> None:
        """Close the help again."""
        self.action_back()


def words() -> Iterator[Say]:
    """Yield the keys and the marks."""
    for screen, lines in keys.HELP_WORDS:
        yield Say(screen, heading=True)
        for key, words in lines:
            yield Say(f"{key:<16}{words}", depth=1)
        yield Say("")
    yield Say("Marks on the road", heading=True)
    for status, mark in STATUS_MARKS.items():
        yield Say(f"{mark} {STATUS_WORDS[status]}", depth=1, role=stage_role(status))
    yield Say(f"{MEASURED} leg difference as measured", depth=1, role=Role.MEASURED)
    yield Say("├ · ┤ first and last day that the rules allow (an end outside the view is left out)", depth=1)
    yield Say("┈ goal: legs of equal length within the goal band of the protocol", depth=1)
    yield Say("Line: half of children like this one lie above it, half below. Bands: 50 and 90 of 100.", depth=1)
    yield Say("")
    yield Say("Marks of gates", heading=True)
    yield Say("+ met, - not met, ? not known, ~ waived, > judged later", depth=1)
