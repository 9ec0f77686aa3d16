"""What all screens of a child share: the list, the help, the way back, the selected stage."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, ClassVar, cast

from textual.binding import Binding, BindingType
from textual.screen import Screen

from pathway.plan.model import Plan, PlanStage
from pathway.views.pictures.symbols import Symbols
from pathway.views.words import statements
from pathway.views.words.paragraphs import Paragraph, in_date_order
from pathway.views.words.statements import Statement
from tui import keys, why_not
from tui.opened import ChildList
from tui.widgets import frame

if TYPE_CHECKING:
    from tui.app import PathwayApp


class OwnScreen(Screen[None]):
    """A screen with help and a way back."""

    BINDINGS: ClassVar[list[BindingType]] = [keys.BACK, keys.HELP, keys.WHY]
    HELP_HEAD: ClassVar[str] = ""
    """The heading of the help under which the keys of the screen stand."""

    @property
    def home(self) -> PathwayApp:
        """Return the app."""
        return cast("PathwayApp", self.app)

    def action_back(self) -> None:
        """Return to the screen before."""
        self.home.go_back()

    def action_help(self) -> None:
        """Show what the field is about that is typed in, then the keys, those of this screen first."""
        self.home.show_help(self.HELP_HEAD, tuple(self.help_about()))

    def help_about(self) -> Iterator[Paragraph]:
        """Yield what the help says first: of the field that is typed in; nothing here."""
        yield from ()

    def own_keys(self) -> frozenset[str]:
        """Return every key that is bound on the screen, whether it can do something now or not."""
        tables = (kind.__dict__.get("BINDINGS", ()) for kind in type(self).__mro__)
        return frozenset(key for table in tables for one in table if isinstance(one, Binding) for key in keys.of(one))

    def why_not(self, action: str) -> str:
        """Return why an action cannot be done now, "" where that is said elsewhere or not known."""
        return why_not.reason(action)

    def words_of(self, binding: Binding) -> str:
        """Return what a key does here, in a word or two."""
        return binding.description

    def statements(self) -> tuple[Statement, ...]:
        """Return what the screen says, each statement with the rule behind it."""
        return ()

    def action_sources(self) -> None:
        """Open the rules and sources behind what the screen says."""
        found = self.statements()
        if found:
            self.home.open_sources(self.sources_head(), found)

    def sources_head(self) -> str:
        """Return the title of the statements."""
        return "Sources"

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Return whether an action can be done now: the keys shown are those that work."""
        return bool(self.statements()) if action == "sources" else True

    def on_screen_resume(self) -> None:
        """Say whether the children shown are invented."""
        self.say_invented()

    def say_invented(self) -> None:
        """Say whether the children shown are invented, where that is known by now."""
        for caution in self.query(frame.Caution):
            caution.say(self.home.invented_on(self))

    def children_changed(self, child_list: ChildList, name: str | None) -> None:
        """Take note that children were planned; `name` is the child that changed."""


NEED_PLAN = ("sources", "accept", "due", "details", "prerequisites")
"""What can only be done where a plan is there."""


class ChildScreen(OwnScreen):
    """A screen about one child and one selected stage."""

    BINDINGS: ClassVar[list[BindingType]] = [keys.UNDO, keys.REDO, keys.SAVE]
    COMPARES: ClassVar[bool] = False
    """Whether the screen shows the courses that the plan is compared with, which take longer to work out."""

    DRAWS: ClassVar[bool] = False
    """Whether the screen draws a graph for which symbols can be chosen."""

    def __init__(self, child: str, stage: str | None = None) -> None:
        super().__init__()
        self.child = child
        self.stage = stage

    @property
    def plan(self) -> Plan | None:
        """Return the plan of the child, or None where there is none (yet)."""
        return self.home.child_list[self.child].plan

    @property
    def selected(self) -> PlanStage | None:
        """Return the selected stage, or None where the plan has none."""
        plan = self.plan
        if plan is None or not plan.stages:
            return None
        order = in_date_order(plan)
        return next((stage for stage in order if stage.id == self.stage), order[0])

    def aim(self, child: str, stage: str | None) -> None:
        """Show another child or stage, as if the screen had just been opened."""
        self.child, self.stage = child, stage
        self.fresh()
        if self.is_attached and self.children:
            self.show_stage()

    def fresh(self) -> None:
        """Forget what was set while the screen was open before."""

    def select(self, stage: str) -> None:
        """Select a stage and show it."""
        self.stage = stage
        if self.is_attached and self.children:
            self.show_stage()

    def show_stage(self) -> None:
        """Show the selected stage; each screen does it its own way."""

    def show_symbols(self, symbols: Symbols) -> None:
        """Draw with other symbols from now on, where the screen draws."""
        self.home.symbols = symbols

    def action_stage(self, by: int) -> None:
        """Select the stage so many places on, in order of date."""
        plan, selected = self.plan, self.selected
        if plan is None or selected is None:
            return
        order = in_date_order(plan)
        place = next(index for index, stage in enumerate(order) if stage.id == selected.id)
        self.select(order[max(0, min(len(order) - 1, place + by))].id)

    def statements(self) -> tuple[Statement, ...]:
        """Return what the plan says of the selected stage, then of the child."""
        plan, stage = self.plan, self.selected
        if plan is None:
            return ()
        return (*(statements.of_stage(plan, stage) if stage else ()), *statements.of_plan(plan))

    def sources_head(self) -> str:
        """Return the title of the statements."""
        return f"{self.child}: sources" + (f", {self.selected.label}" if self.selected else "")

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Return whether an action can be done now."""
        if action in ("undo", "redo"):
            session = self.home.child_list[self.child].session
            return session is not None and bool(session.done if action == "undo" else session.undone)
        if action == "save":
            return self.home.child_list[self.child].unsaved
        if action in ("sources", "accept", "due"):
            return self.plan is not None
        if action in ("details", "prerequisites"):
            return self.selected is not None
        return super().check_action(action, parameters)

    def why_not(self, action: str) -> str:
        """Return why an action cannot be done now."""
        if self.plan is None and action in NEED_PLAN:
            return why_not.without_plan(self.home.child_list[self.child])
        if action in ("details", "prerequisites"):
            return why_not.NO_STAGE
        return super().why_not(action)

    def action_undo(self) -> None:
        """Take the last edit back."""
        self.home.undo(self.child)

    def action_redo(self) -> None:
        """Do the last undone edit again."""
        self.home.redo(self.child)

    def action_save(self) -> None:
        """Save the edits where the child is kept."""
        self.home.save(self.child)

    def action_courses(self) -> None:
        """Open the courses side by side."""
        self.home.open_courses(self.child, self.stage)

    def action_family(self) -> None:
        """Open the plan in plain words."""
        self.home.open_family(self.child, self.stage)

    def action_accept(self) -> None:
        """Open what is accepted of the plan, by whom and why."""
        self.home.open_accept(self.child)

    def action_history(self) -> None:
        """Open what was entered and kept, step by step."""
        self.home.open_history(self.child)

    def action_due(self) -> None:
        """Open what the child needs by when."""
        self.home.open_due(self.child)

    def action_what_if(self) -> None:
        """Open the wishes that can be tried out."""
        self.home.open_what_if(self.child)

    def action_follow_up(self) -> None:
        """Open the follow-up."""
        self.home.open_follow_up(self.child)

    def action_worksheet(self) -> None:
        """Open the worksheet of the selected stage."""
        self.home.open_worksheet(self.child, self.selected.id if self.selected else None)

    def action_export(self) -> None:
        """Open the papers that can be written of the child."""
        self.home.open_export(self.child, self.selected.id if self.selected else None)

    def action_details(self) -> None:
        """Open the details of the selected stage."""
        if self.selected is not None:
            self.home.open_details(self.child, self.selected.id)

    def action_prerequisites(self) -> None:
        """Open what comes before the selected stage."""
        if self.selected is not None:
            self.home.open_prerequisites(self.child, self.selected.id)
