"""Worksheets: the numbers of the selected operation, worked out anew with every key; a drawing of the bone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Container, Vertical
from textual.events import Resize
from textual.widgets import Input as TextLine

from pathway.plan.model import PlanStage
from pathway.problems import Refused
from pathway.protocol.question import Question
from pathway.views.drawings.schematic import characters
from pathway.views.pictures.picture import Role
from pathway.views.words import statements
from pathway.views.words.paragraphs import Paragraph, in_date_order
from pathway.views.words.sheet_on_screen import faults_by_input, labels_of, on_screen
from pathway.views.words.statements import Statement
from pathway.views.words.worksheet import result_lines
from pathway.worksheets.case import Case, case_of
from pathway.worksheets.kinds import KINDS, kind_for
from pathway.worksheets.sheet import Kind, Sheet
from tui import keys, sheet_fields
from tui.export.sheets import SheetAsSet
from tui.followup.form_field import Field
from tui.opened import ChildList
from tui.screens.form_screen import FormScreen
from tui.typed_steps import Steps
from tui.widgets import frame
from tui.widgets.form import Form
from tui.widgets.prose import Prose

LEAST = 40
LEAST_DRAWN = 24


class WorksheetScreen(FormScreen):
    """Inputs on one side, what follows from them on the other."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.WORKSHEET]
    HELP_HEAD = "Worksheet"
    RESULT = "#sheet"
    DEFAULT_CSS = """
    WorksheetScreen #left { height: 9; width: 100%; }
    WorksheetScreen Form { height: 100%; width: 100%; }
    WorksheetScreen #sheet { height: 1fr; padding: 0 1; }
    WorksheetScreen #drawing { height: 1fr; padding: 0 1; display: none; }
    WorksheetScreen.drawn #drawing { display: block; }
    WorksheetScreen.listing #left { height: 11; }
    WorksheetScreen.drawn #left { height: 7; }
    WorksheetScreen #offered { max-height: 4; }
    WorksheetScreen.drawn #offered { max-height: 1; }
    WorksheetScreen.drawn #sheet { display: none; }
    WorksheetScreen.wide #left, WorksheetScreen.wide.listing #left { width: 44; height: 100%; }
    WorksheetScreen.wide #offered { max-height: 30%; }
    WorksheetScreen.wide .listing #said { max-height: 6; }
    WorksheetScreen.wide Form { height: 1fr; padding: 1 0 0 0; }
    WorksheetScreen.wide #drawing { height: 100%; width: 1fr; padding: 1 2; }
    WorksheetScreen.wide #sheet { height: 100%; width: 1fr; padding: 0 2; }
    """

    def __init__(self, child: str, stage: str | None = None) -> None:
        super().__init__(child, stage)
        self._case: Case | None = None
        self.sheet: Sheet | None = None
        self._planned: Sheet | None = None
        """The sheet with nothing set by hand: what was measured and planned."""
        self.settings: dict[str, str] = {}
        """What was typed, as a sheet reads it."""
        self._wrong: dict[str, str] = {}
        """What is wrong with what was typed, by the input; "" holds what no single one can mend."""
        self._about: tuple[str, str, bool] = ("", "", False)
        """Child, stage and whether of the whole leg: what the sheet was shown of last."""
        self._of_leg = False
        """Whether the sheet of the whole leg's axis is shown, which is of no stage."""

    def compose(self) -> ComposeResult:
        """Lay out title, caution, inputs, sheet, keys."""
        yield frame.Title("Worksheet")
        yield frame.Caution()
        yield frame.Notice(id="notice", calm=True)
        with Container(id="body"):
            with Vertical(id="left"):
                yield Form(id="inputs")
            yield Prose(id="drawing", focus=False)
            yield Prose(id="sheet", focus=False)
        yield frame.keys()

    def on_mount(self) -> None:
        """Open the sheet of the selected stage; typing goes to its inputs."""
        self.query_one(TextLine).focus()
        self.show_stage()

    def on_resize(self, event: Resize) -> None:
        """Put the inputs beside the sheet where there is width for it."""
        super().on_resize(event)
        self.call_after_refresh(self.show_sheet)
        self.refresh_bindings()

    def children_changed(self, child_list: ChildList, name: str | None) -> None:
        """Work with the new plan."""
        if name == self.child and self.news():
            self.show_stage()

    def fresh(self) -> None:
        """Start at the first input."""
        self.set_class(False, "drawn")
        self._of_leg = False
        self.query_one(Form).place = 0

    @property
    def with_sheets(self) -> tuple[PlanStage, ...]:
        """Return the stages that have a worksheet, in order of date."""
        plan, rules = self.plan, self.home.rules
        if plan is None or rules is None:
            return ()
        return tuple(stage for stage in in_date_order(plan) if kind_for(stage, rules) is not None)

    @property
    def kind(self) -> Kind | None:
        """Return the kind of worksheet that is shown: of the leg's axis, else of the selected stage, or None."""
        if self._of_leg:
            return "axis"
        stage, rules = self.selected, self.home.rules
        return kind_for(stage, rules) if stage is not None and rules is not None else None

    def show_stage(self) -> None:
        """Open the worksheet of the selected stage, its inputs as planned."""
        self.steps, self.settings = Steps(), {}
        self.sheet, self._planned, self._case, self._wrong = None, None, None, {}
        instead = "" if self._of_leg else self._instead()
        stage, kind, session = self.selected, self.kind, self.home.child_list[self.child].session
        notice = self.query_one(frame.Notice)
        if kind is None or session is None or self.home.rules is None:
            notice.say(self._nothing(stage))
            self.query_one(Form).offer(())
            self.query_one("#sheet", Prose).say(())
            return
        notice.say(instead)
        self._case = self._case_of(None if self._of_leg else stage)
        what = "axis of the leg" if self._of_leg or stage is None else stage.label
        self.query_one(frame.Title).update(f"{self.child}: worksheet, {what}")
        self.typed_anew()
        about = (self.child, stage.id if stage is not None else "", self._of_leg)
        if about != self._about:
            self._about = about
            self.query_one("#sheet", Prose).scroll_home(animate=False)
        self.refresh_bindings()

    def _nothing(self, stage: PlanStage | None) -> str:
        if stage is None or self.home.rules is None:
            return "There is no plan yet, so there is no worksheet. Escape goes back."
        return "No stage of this plan has a worksheet. Escape goes back."

    def _instead(self) -> str:
        """Select the next stage that has a worksheet where the selected one has none; say so."""
        plan, stage, able = self.plan, self.selected, self.with_sheets
        if plan is None or stage is None or stage in able or not able:
            return ""
        order = [item.id for item in in_date_order(plan)]
        later = [item for item in able if order.index(item.id) > order.index(stage.id)]
        self.stage = (later or list(able))[0].id
        return f"{stage.label} has no worksheet; this is the one of {self.selected.label if self.selected else ''}."

    def _case_of(self, stage: PlanStage | None) -> Case:
        from pathway.growth import fit_growth
        from pathway.rule_engine.facts import known_steps

        session, rules, on = self.home.child_list[self.child].session, self.home.rules, self.home.on
        assert session is not None
        assert rules is not None
        record = session.record
        steps = known_steps(Question(record, rules, on))
        posterior = fit_growth(Question(record.until(on), rules, on), known_steps=steps)
        return case_of(Question(record, rules, on), self.plan, stage, posterior)

    def typed_anew(self, *, typing: bool = False) -> None:
        """Work the sheet out with what was set; what cannot be is said below the line, the last sheet stays."""
        kind, case, form = self.kind, self._case, self.query_one(Form)
        if kind is None or case is None:
            return
        settings, wrong = sheet_fields.settings(self.sheet, self.typed, case.protocol, self._planned)
        self.settings = settings
        try:
            if not wrong:
                self.sheet = KINDS[kind].make(case, settings)
        except Refused as error:
            if self.sheet is None:
                self.sheet = _bare(kind, case, settings)
            wrong = faults_by_input(error.problems, labels_of(self.sheet.inputs if self.sheet is not None else ()))
        if not self.typed:
            self._planned = self.sheet
        if self.sheet is not None and not wrong:
            if kind == "osteotomy":
                self.home.sheets[self.child] = self.sheet
            self.home.sheet_set(self.child, SheetAsSet(kind, case, dict(settings), self.sheet))
        self._wrong = wrong
        if self.sheet is not None:
            shown = sheet_fields.fields(self.sheet, self.typed, case.protocol, self._planned, wrong)
            form.offer(tuple(shown), typing=typing)
        self.show_sheet()
        form.complain(wrong.get(form.chosen.name if form.chosen else "", ""))

    def show_sheet(self) -> None:
        """Show what the sheet works out, below what is wrong with what was typed."""
        prose = self.query_one("#sheet", Prose)
        if self.sheet is None:
            return
        self._draw()
        width = max(LEAST, prose.size.width - (4 if self.has_class("wide") else 2) - 1)
        said = list(_said(self.sheet, width))
        if self._wrong:
            said = [*_to_correct(self._wrong, labels_of(self.sheet.inputs)), *said]
        prose.say(said, top=False)

    def _draw(self) -> None:
        """Draw the bone from the geometry of the sheet, where it has one."""
        if self.sheet is None:
            return
        pictures, prose = self.sheet.drawings, self.query_one("#drawing", Prose)
        if not pictures:
            self.set_class(False, "drawn")
            return
        columns, rows = max(LEAST_DRAWN, prose.size.width - 3), max(6, prose.size.height - 1)
        lines = characters(pictures[0], columns, rows).split("\n")
        title = Paragraph(pictures[0].title, heading=True, fixed=True)
        prose.say((title, *(Paragraph(line, role=Role.MEDIAN, fixed=True) for line in lines)))

    def action_draw(self) -> None:
        """Show the drawing in place of the numbers, or the numbers again."""
        self.toggle_class("drawn")
        self.refresh_bindings()
        self.call_after_refresh(self.show_sheet)

    def action_axis(self) -> None:
        """Show the axis of the whole leg in place of the stage's sheet, or the stage's sheet again."""
        self._of_leg = not self._of_leg
        self.set_class(False, "drawn")
        self.query_one(Form).place = 0
        self.show_stage()
        self.refresh_bindings()

    def action_theatre(self) -> None:
        """Open the page for the table of what the sheet starts from."""
        if self._case is not None:
            stage = self.selected.id if self.selected else None
            self.home.open_theatre(self.child, stage, self._case, self.settings, self.sheet)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Return whether an action can be done now."""
        if action == "page":
            return not self.has_class("drawn")
        if action == "theatre":
            return self.kind == "osteotomy" and self._case is not None
        if action == "draw":
            return self.sheet is not None and bool(self.sheet.drawings)
        return super().check_action(action, parameters)

    def action_stage(self, by: int) -> None:
        """Open the worksheet of the stage before or after that has one; after the last comes the first."""
        stages = self.with_sheets
        if not stages:
            return
        ids = [stage.id for stage in stages]
        place = ids.index(self.selected.id) + by if self.selected and self.selected.id in ids else 0
        self.query_one(Form).place = 0
        self._of_leg = False
        self.select(ids[place % len(ids)])

    def rule_of(self, field: Field) -> str:
        """Return what an input of the sheet rests on."""
        inputs = self.sheet.inputs if self.sheet is not None else ()
        return next((item.sources[0] for item in inputs if item.name == field.name and item.sources), "")

    def statements(self) -> tuple[Statement, ...]:
        """Return the inputs and results of the sheet with what they rest on."""
        return statements.of_sheet(self.sheet) if self.sheet is not None else super().statements()


def _bare(kind: Kind, case: Case, settings: Mapping[str, str]) -> Sheet | None:
    """Return a sheet that can be made without what was set, or None where an input is missing from the start."""
    try:
        return KINDS[kind].make(case, {}) if settings else None
    except Refused:
        return None


def _to_correct(wrong: Mapping[str, str], labels: Mapping[str, str]) -> Iterator[Paragraph]:
    """Yield each fault under the label of its input; what follows on the screen is older than it."""
    yield Paragraph("To correct first", role=Role.STAGE_BLOCKED, heading=True)
    for name, sentence in wrong.items():
        label = labels.get(name, "All together")
        yield Paragraph(f"{label[:1].upper()}{label[1:]}: {sentence}.", 1, Role.STAGE_BLOCKED)
    yield Paragraph("As it was before the last change:", role=Role.STAGE_BLOCKED, heading=True)


def _said(sheet: Sheet, width: int) -> Iterator[Paragraph]:
    yield Paragraph("Check every number against the radiograph before it is used.", role=Role.LEGEND)
    care = False
    for line in result_lines(on_screen(sheet), width, drawn=False):
        mark = line.lstrip()[:1]
        # A warning keeps its colour to its end.
        care = mark in "!✕" if mark in ("!", "✕", "") else care and line.startswith("    ")
        role = Role.STAGE_BLOCKED if mark == "✕" else Role.STAGE_READY if mark == "▶" or care else Role.TEXT
        yield Paragraph(line, role=role, heading=bool(line) and not line.startswith(" "), fixed=True)
