"""The app: holds the list, plans in the background, opens screens. Handlers alone change what it holds."""

from __future__ import annotations

import datetime
import gc
import os
import sys
from collections.abc import Iterable, Mapping
from contextlib import suppress
from typing import TYPE_CHECKING

from rich.text import Text
from textual import work
from textual.app import SystemCommand
from textual.dom import DOMNode
from textual.events import Key
from textual.message import Message
from textual.screen import Screen
from textual.widgets import Input

from pathway.children.storage import Storage
from pathway.children.surroundings import Surroundings
from pathway.events import Event
from pathway.plan.model import Plan
from pathway.protocol.model import Protocol
from pathway.record import Record
from pathway.views.pictures.symbols import Symbols, chosen
from pathway.views.words import paragraphs
from pathway.views.words.paragraphs import Aids, Paragraph
from pathway.views.words.statements import Statement
from tui import keys, planner, why_not
from tui.coming_back import ComingBackApp
from tui.opened import ChildList, Entry, NothingToDo, child_list
from tui.pictures import Pictures
from tui.saving import SHOWN_SECONDS
from tui.screens.base import ChildScreen, OwnScreen
from tui.screens.children import ChildrenScreen
from tui.themes import FIRST, PALETTES, THEMES, variable

if TYPE_CHECKING:
    from textual.actions import ActionParseResult

    from pathway.worksheets.case import Case
    from pathway.worksheets.sheet import Sheet
    from tui.screens.sources import SourcesScreen

FATAL = "limb-pathway had to end because of an internal error; what was saved is kept. Please report what you did last"
UNEXPECTED = "internal error while planning, nothing was changed; please report it with the case file"


class PathwayApp(ComingBackApp):
    """Children, their timelines, prerequisites and sources."""

    TITLE = "limb-pathway"
    ENABLE_COMMAND_PALETTE = True

    class Planned(Message):
        """A child was planned, or cannot be: the sentences say why."""

        def __init__(
            self,
            name: str,
            outcome: planner.Made | tuple[str, ...],
            record: Record | None = None,
            *,
            compared: bool = False,
        ) -> None:
            self.name = name
            self.outcome = outcome
            self.record = record
            self.compared = compared
            super().__init__()

    def __init__(
        self,
        files: Mapping[str, str],
        on: datetime.date,
        child: str | None = None,
        protocol: Protocol | None = None,
        storage: Storage | None = None,
        around: Surroundings | None = None,
    ) -> None:
        super().__init__(child_list(files), on, protocol, storage, around)
        self.protocol = protocol
        self.pictures = Pictures()
        self.named: Mapping[str, tuple[str, ...]] = {}
        self.first_child = child if child in files else None
        self.aids: Aids | None = None
        self.goal_mm: tuple[float, float] | None = None
        self.symbols = Symbols.BRAILLE
        self._wanted: str | None = self.first_child
        self._at_work = False
        self._kept: dict[type[ChildScreen], ChildScreen] = {}
        self._sources: SourcesScreen | None = None
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
        """Show the children, or at once the timeline of one; plan after the first picture is there."""
        self.push_screen(ChildrenScreen())
        if self.first_child is not None:
            self.open_timeline(self.first_child)
        if self.storage is not None:
            self.find_children()
        self.take_up()
        self.call_after_refresh(self._plan_next)

    def _fatal_error(self) -> None:
        """End with a sentence instead of a traceback (replaces Textual's own end)."""
        error = self._exception
        words = "" if error is None else f" ({type(error).__name__}: {error})"
        self._exit_renderables.append(Text(f"{FATAL}{words}"))
        self._close_messages_no_wait()

    def _plan_next(self) -> None:
        entry = None if self._at_work else self.next_to_plan
        if entry is not None:
            self._at_work = True
            record = entry.session.record if entry.session else None
            compared = record is not None and entry.name in self._to_compare
            self._plan(entry.name, entry.text, record, self.size.width, compared)

    @property
    def next_to_plan(self) -> Entry | None:
        """Return the child to plan next, None where every plan that is asked for is there."""
        return self.child_list.next_to_plan(self._wanted, self._to_compare)

    @property
    def _to_compare(self) -> set[str]:
        """Return the children whose courses are shown."""
        return {one.child for one in self.screen_stack if isinstance(one, ChildScreen) and one.COMPARES}

    @work(thread=True)
    def _plan(self, name: str, text: str, record: Record | None, width: int, compared: bool) -> None:
        try:
            if record is None and self.storage is not None and self.rules is not None:
                outcome = planner.make_kept(name, self.storage, self.on, self.rules)
            elif record is None or self.rules is None:
                outcome = planner.make(name, text, self.on, self.protocol)
            else:
                outcome = planner.make_from(name, self.question(name, record, self.rules), compared)
            if isinstance(outcome, planner.Made):
                self.pictures.prerequisites(outcome.plan, width)
                self.named = self.named or planner.names_in(outcome.protocol)
        except Exception as error:  # a fault of ours must not end the session: it is said in place
            outcome = (f"{name}: {UNEXPECTED} ({type(error).__name__}: {error}).",)
        self.post_message(self.Planned(name, outcome, record, compared=compared))

    def on_pathway_app_planned(self, event: Planned) -> None:
        """Put a finished plan on the list, tell the screens, plan the next child."""
        if event.name not in {entry.name for entry in self.child_list.entries}:
            self._at_work = False  # an example that has left the list meanwhile
            self._plan_next()
            return
        outcome, entry = event.outcome, self.child_list[event.name]
        now = entry.session.record if entry.session else None
        if event.record is not None and event.record != now:
            pass  # edited again meanwhile: this plan is of yesterday, the next one is on its way
        elif isinstance(outcome, planner.Made):
            self.aids, self.goal_mm, self.rules = outcome.aids, outcome.goal_mm, outcome.protocol
            told = _told(entry, outcome.plan, event.compared)
            self.child_list = self.child_list.with_plan(
                event.name,
                outcome.record,
                outcome.plan,
                told,
                outcome.summary,
                compared=event.compared,
                accepted=self.accepted_on(event.name),
            )
        elif event.compared and entry.comparable:
            self.child_list = self.child_list.not_compared(event.name, outcome)
        else:
            self.child_list = self.child_list.with_problems(event.name, outcome)
        self.do_again(event.name)
        self._at_work = False
        # Plans stay; looking through them for garbage again and again would hold up keys for a third of a second.
        gc.freeze()
        super().show(event.name)
        self.save_waiting(event.name)
        self._plan_next()

    def edit(self, child: str, sentence: str, events: Iterable[Event]) -> None:
        """Add events to a child's record as one edit, told in one sentence; the plan follows."""
        self._now(child, self.child_list.edited(child, sentence, events))

    def undo(self, child: str) -> None:
        """Undo a child's last edit, where there is one."""
        with suppress(NothingToDo, KeyError):
            self._now(child, self.child_list.undone(child))

    def redo(self, child: str) -> None:
        """Do a child's last undone edit again, where there is one."""
        with suppress(NothingToDo, KeyError):
            self._now(child, self.child_list.redone(child))

    def _now(self, child: str, child_list: ChildList) -> None:
        self.child_list, self._wanted = child_list, child
        self.show(child)

    def show(self, child: str | None) -> None:
        """Tell the screens that a child, or the whole list, changed, and plan what is to be planned."""
        super().show(child)
        self._plan_next()

    def open_timeline(self, child: str) -> None:
        """Open the timeline of a child; it is planned next where it is not yet."""
        from tui.screens.timeline import TimelineScreen

        self._wanted, self.child_list = child, self.child_list.opening(child)
        self.push_screen(TimelineScreen(child))
        self._plan_next()

    def open_prerequisites(self, child: str, stage: str) -> None:
        """Open what comes before a stage."""
        from tui.screens.prerequisites import PrerequisitesScreen

        self._open_beside(PrerequisitesScreen, child, stage)

    def open_details(self, child: str, stage: str) -> None:
        """Open the details of a stage."""
        from tui.screens.details import DetailsScreen

        self._open_beside(DetailsScreen, child, stage)

    def open_courses(self, child: str, stage: str | None) -> None:
        """Open the courses of a child side by side."""
        from tui.screens.courses import CoursesScreen

        self._open_beside(CoursesScreen, child, stage)

    def open_family(self, child: str, stage: str | None) -> None:
        """Open the plan in plain words."""
        from tui.screens.family import FamilyScreen

        self._open_beside(FamilyScreen, child, stage)

    def open_worksheet(self, child: str, stage: str | None) -> None:
        """Open the worksheet of a stage."""
        from tui.screens.worksheet import WorksheetScreen

        self._open_beside(WorksheetScreen, child, stage)

    def open_theatre(
        self, child: str, stage: str | None, case: Case, typed: Mapping[str, str], sheet: Sheet | None
    ) -> None:
        """Open the page for the table of a worksheet as it stands."""
        from tui.screens.theatre import TheatreScreen

        self._open_beside(TheatreScreen, child, stage)
        screen = self._kept[TheatreScreen]
        assert isinstance(screen, TheatreScreen)
        screen.of(case, typed, sheet)

    def open_what_if(self, child: str) -> None:
        """Open the wishes that can be tried out."""
        from tui.screens.what_if import WhatIfScreen

        self.push_screen(WhatIfScreen(child))

    def open_follow_up(self, child: str) -> None:
        """Open the form for a visit, an operation done or a decision."""
        from tui.screens.followup import FollowUpScreen

        if any(isinstance(screen, FollowUpScreen) for screen in self.screen_stack):
            while not isinstance(self.screen, FollowUpScreen):
                self.pop_screen()
            return
        self.push_screen(FollowUpScreen(child))

    def open_sources(self, head: str, statements: tuple[Statement, ...], rule: str = "") -> None:
        """Open the statements of a screen with the rule behind each; at `rule` where one is named."""
        from tui.screens.sources import SourcesScreen

        if self._sources is None:
            self._sources = SourcesScreen(head, statements, rule)
            self.install_screen(self._sources, "sources")
        elif self._sources in self.screen_stack:
            return
        else:
            self._sources.aim(head, statements, rule)
        self.push_screen(self._sources)

    def _open_beside(self, kind: type[ChildScreen], child: str, stage: str | None) -> None:
        """Open a screen on top; where one of its kind lies below already, return to that.

        One screen of each kind is kept and shown again: making it anew takes most of the time of a key.
        """
        screen = self._kept.get(kind)
        if screen is None:
            screen = self._kept[kind] = kind(child, stage)
            self.install_screen(screen, kind.__name__)
        elif screen in self.screen_stack:
            while self.screen is not screen:
                self.pop_screen()
            screen.aim(child, stage)
            return
        else:
            screen.aim(child, stage)
        self.push_screen(screen)
        if kind.COMPARES:
            self._plan_next()

    def open_accept(self, child: str) -> None:
        """Open what is accepted of a child's plan, by whom and why."""
        from tui.screens.accept import AcceptScreen

        self.push_screen(AcceptScreen(child))

    def open_history(self, child: str) -> None:
        """Open what was entered of a child and kept, step by step."""
        from tui.screens.history import HistoryScreen

        self.push_screen(HistoryScreen(child))

    def open_due(self, child: str) -> None:
        """Open what a child needs by when."""
        from tui.screens.due import DueScreen

        self.push_screen(DueScreen(child))

    def open_results(self) -> None:
        """Open what the accepted plans of all children said, beside what came."""
        from tui.screens.results import ResultsScreen

        self.push_screen(ResultsScreen())

    def show_help(self, first: str = "", about: tuple[Paragraph, ...] = ()) -> None:
        """Open the help: what it is about, then the keys, those of the screen named first."""
        from tui.screens.help import HelpScreen

        self.push_screen(HelpScreen(first, about))

    def open_manual(self) -> None:
        """Open the pages of the manual."""
        from tui.screens.manual import ManualScreen

        self.push_screen(ManualScreen())

    def go_back(self) -> None:
        """Return to the screen before; the stage selected last stays selected."""
        if len(self.screen_stack) <= 2:
            return
        left = self.screen
        self.pop_screen()
        below = self.screen
        if isinstance(left, ChildScreen) and isinstance(below, ChildScreen) and left.stage is not None:  # noqa: SIM102
            if left.child == below.child and left.stage != below.stage:
                below.select(left.stage)

    def go_to_children(self) -> None:
        """Return to the children from wherever one is."""
        while not isinstance(self.screen, ChildrenScreen) and len(self.screen_stack) > 2:
            self.pop_screen()

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """Yield every command: what can be done here, each child, each colour theme, and to leave."""
        from tui.palette import commands

        yield from commands(self, screen)

    def timeline_from_list(self, name: str) -> None:
        """Open a child's timeline from wherever one is."""
        self.go_to_children()
        self.open_timeline(name)

    def perform(self, screen: OwnScreen, action: str) -> None:
        """Do what a command of a screen says, or say why that cannot be done."""
        name = action.partition("(")[0]
        if not hasattr(screen, f"action_{name}"):
            self.say_why(why_not.NO_CHILD)
        elif not screen.check_action(name, ()):
            self.say_why(screen.why_not(name))
        else:
            self.call_later(self.run_action, action, screen)

    async def run_action(
        self,
        action: str | ActionParseResult,
        default_namespace: DOMNode | None = None,
        namespaces: Mapping[str, DOMNode] | None = None,
    ) -> bool:
        """Do an action; where a screen has it and cannot do it now, say why."""
        if await super().run_action(action, default_namespace, namespaces):
            return True
        name = action.partition("(")[0] if isinstance(action, str) else action[1]
        if not isinstance(default_namespace, OwnScreen) or default_namespace.check_action(name, ()):
            return False
        why = default_namespace.why_not(name)
        self.say_why(why)
        return bool(why)

    def on_key(self, event: Key) -> None:
        """Say of a letter or function key that does nothing on this screen where it does something."""
        screen = self.screen
        letter = event.is_printable and not (event.character or "").isspace() and not isinstance(self.focused, Input)
        asks = letter or keys.FUNCTION_KEY.fullmatch(event.key)
        if isinstance(screen, OwnScreen) and asks and event.key not in screen.own_keys():
            self.say_why(keys.elsewhere(event.key))

    def say_why(self, sentence: str) -> None:
        """Say why something did nothing; the same sentence does not stand twice."""
        if sentence and not any(one.message == sentence for one in self._notifications):
            self.notify(sentence, severity="warning", timeout=SHOWN_SECONDS, markup=False)


SELDOM = 50_000
"""So many objects more than were given back are made before Python looks for garbage: 700 where nothing is said."""


def _told(entry: Entry, plan: Plan, compared: bool) -> tuple[str, ...]:
    """Return what the last edit made of a child's plan; nothing new where the same plan was only compared."""
    if entry.comparable:
        return ()
    before = entry.shown
    if before is not None and entry.compared != compared:
        before, plan = planner.alone(before), planner.alone(plan)
    return paragraphs.of_edit(before, entry.told, plan)


def run(
    files: Mapping[str, str],
    on: datetime.date,
    child: str | None = None,
    protocol: Protocol | None = None,
    storage: Storage | None = None,
    around: Surroundings | None = None,
) -> None:
    """Open the screens on case files by name, planned as on a day; `child` opens that child's timeline at once.

    Planned by `protocol` where one is given (a clinic's rules laid over ours), else by ours. With a `storage` its
    children are shown in place of files, and changes can be saved. `around` says where the screens run.
    """
    # What is made before the first plan stays: looking through it for garbage again and again holds it up.
    gc.set_threshold(SELDOM, *gc.get_threshold()[1:])
    app = PathwayApp(files, on, child, protocol, storage, around)
    app.symbols = chosen(os.environ, sys.stdout.encoding or "")
    app.run()
