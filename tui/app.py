"""The app: holds the shelf, plans in the background, opens screens. Handlers alone change what it holds."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from functools import partial
from typing import ClassVar

from rich.text import Text
from textual import work
from textual.app import App, SystemCommand
from textual.binding import BindingType
from textual.message import Message
from textual.screen import Screen

from pathway.protocol.model import Protocol
from tui import keys, planner
from tui.screens.base import ChildScreen, OwnScreen
from tui.screens.children import ChildrenScreen
from tui.session import Shelf, shelf
from tui.telling import Aids
from tui.themes import FIRST, PALETTES, THEMES, variable

FATAL = "limb-pathway had to end because of an internal error; no file was changed. Please report what you did last"
UNEXPECTED = "internal error while planning, nothing was changed; please report it with the case file"


class PathwayApp(App[None]):
    """Children, their roads, what comes before what, and why."""

    TITLE = "limb-pathway"
    BINDINGS: ClassVar[list[BindingType]] = [keys.QUIT]
    ENABLE_COMMAND_PALETTE = True

    class Planned(Message):
        """A child was planned, or cannot be: the sentences say why."""

        def __init__(self, name: str, outcome: planner.Made | tuple[str, ...]) -> None:
            self.name = name
            self.outcome = outcome
            super().__init__()

    def __init__(
        self, files: Mapping[str, str], on: datetime.date, child: str | None = None, protocol: Protocol | None = None
    ) -> None:
        super().__init__()
        self.protocol = protocol
        self.shelf: Shelf = shelf(files)
        self.on = on
        self.first_child = child if child in files else None
        self.aids: Aids | None = None
        self.goal_mm: tuple[float, float] | None = None
        self._wanted: str | None = self.first_child
        self._at_work = False
        self._use_own_themes()

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Return colours for roles where a theme names none."""
        palette = PALETTES[FIRST]
        names = {variable(str(role)): colour for role, colour in palette.items()}
        return {**names, variable("text"): palette["text"], variable("blank"): palette["ground"]}

    def _use_own_themes(self) -> None:
        for theme in THEMES:
            self.register_theme(theme)
        self.theme = FIRST
        for name in [name for name in self.available_themes if name not in PALETTES]:
            self.unregister_theme(name)

    def on_mount(self) -> None:
        """Show the children, or at once the road of one; plan after the first picture is there."""
        self.push_screen(ChildrenScreen())
        if self.first_child is not None:
            self.open_road(self.first_child)
        self.call_after_refresh(self._plan_next)

    def _fatal_error(self) -> None:
        """End with a sentence instead of a traceback (replaces Textual's own end)."""
        error = self._exception
        words = "" if error is None else f" ({type(error).__name__}: {error})"
        self._exit_renderables.append(Text(f"{FATAL}{words}"))
        self._close_messages_no_wait()

    def _plan_next(self) -> None:
        entry = None if self._at_work else self.shelf.next_to_plan(self._wanted)
        if entry is not None:
            self._at_work = True
            self._plan(entry.name, entry.text)

    @work(thread=True)
    def _plan(self, name: str, text: str) -> None:
        try:
            outcome = planner.make(name, text, self.on, self.protocol)
        except Exception as error:  # a fault of ours must not end the session: it is said in place
            outcome = (f"{name}: {UNEXPECTED} ({type(error).__name__}: {error}).",)
        self.post_message(self.Planned(name, outcome))

    def on_pathway_app_planned(self, event: Planned) -> None:
        """Put a finished plan on the shelf, tell the screens, plan the next child."""
        outcome = event.outcome
        if isinstance(outcome, planner.Made):
            self.aids, self.goal_mm = outcome.aids, outcome.goal_mm
            self.shelf = self.shelf.with_plan(event.name, outcome.record, outcome.plan)
        else:
            self.shelf = self.shelf.with_problems(event.name, outcome)
        self._at_work = False
        for screen in self.screen_stack:
            if isinstance(screen, OwnScreen) and screen.is_mounted:
                screen.shelf_changed(self.shelf, event.name)
        self._plan_next()

    def open_road(self, child: str) -> None:
        """Open the road of a child; it is planned next where it is not yet."""
        from tui.screens.road import RoadScreen

        self._wanted = child
        self.push_screen(RoadScreen(child))

    def open_before(self, child: str, stage: str) -> None:
        """Open what comes before a stage."""
        from tui.screens.before import BeforeScreen

        self._open_beside(BeforeScreen(child, stage))

    def open_details(self, child: str, stage: str) -> None:
        """Open the details of a stage."""
        from tui.screens.details import DetailsScreen

        self._open_beside(DetailsScreen(child, stage))

    def _open_beside(self, screen: ChildScreen) -> None:
        """Open a screen on top of the road, in place of another one that lies there."""
        from tui.screens.road import RoadScreen

        if isinstance(self.screen, ChildScreen) and not isinstance(self.screen, RoadScreen):
            self.switch_screen(screen)
        else:
            self.push_screen(screen)

    def show_help(self) -> None:
        """Open the help."""
        from tui.screens.help import HelpScreen

        self.push_screen(HelpScreen())

    def go_back(self) -> None:
        """Return to the screen before; the stage selected last stays selected."""
        if len(self.screen_stack) <= 2:
            return
        left = self.screen
        self.pop_screen()
        below = self.screen
        if isinstance(left, ChildScreen) and isinstance(below, ChildScreen) and left.stage is not None:
            below.select(left.stage)

    def go_to_children(self) -> None:
        """Return to the children from wherever one is."""
        while not isinstance(self.screen, ChildrenScreen) and len(self.screen_stack) > 2:
            self.pop_screen()

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """Yield a command for each screen and colour theme, and to leave."""
        yield SystemCommand("Children", "The list of children", self.go_to_children)
        for entry in self.shelf.entries:
            open_it = partial(self._road, entry.name)
            yield SystemCommand(f"Road of {entry.name}", "Stages and leg difference by age", open_it)
        if isinstance(screen, ChildScreen) and screen.selected is not None:
            yield SystemCommand("Before this", "What comes before the selected stage", screen.action_before)
            yield SystemCommand("Details", "Why, gates, limits and sources of the stage", screen.action_details)
        yield SystemCommand("Help", "Keys and marks", self.show_help)
        for name in PALETTES:
            words = name.removeprefix("pathway-").replace("-", " ")
            yield SystemCommand(f"Colours: {words}", "Change the colours", partial(setattr, self, "theme", name))
        yield SystemCommand("Quit", "Leave the program", self.exit)

    def _road(self, name: str) -> None:
        self.go_to_children()
        self.open_road(name)


def run(
    files: Mapping[str, str], on: datetime.date, child: str | None = None, protocol: Protocol | None = None
) -> None:
    """Open the screens on case files by name, planned as on a day; `child` opens that child's road at once.

    Planned by `protocol` where one is given (a clinic's rules laid over ours), else by ours.
    """
    PathwayApp(files, on, child, protocol).run()
