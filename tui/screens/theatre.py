"""The page for the operating table of a worksheet as it stands; or why there is none, and then no numbers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.events import Resize

from pathway.problems import Refused
from pathway.views.pictures.picture import Role
from pathway.views.words.paragraphs import Paragraph
from pathway.worksheets.case import Case
from pathway.worksheets.sheet import Sheet
from tui import keys
from tui.opened import ChildList
from tui.screens.page import PageScreen
from tui.widgets import frame
from tui.widgets.prose import Prose

LEAST, LEAST_ROWS = 40, 8
CHANGED = "The plan of this child has changed: go back (Esc) and open the page anew. No numbers are shown."


class TheatreScreen(PageScreen):
    """The page of one worksheet, made of the case and what was typed when it was opened."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.THEATRE]
    HELP_HEAD = "For the table"
    DEFAULT_CSS = """
    TheatreScreen #page { height: 1fr; padding: 0 2; }
    """

    def __init__(self, child: str, stage: str | None = None) -> None:
        super().__init__(child, stage)
        self._case: Case | None = None
        self._typed: Mapping[str, str] = {}
        self._sheet: Sheet | None = None
        self._shown: tuple[int, int] = (0, 0)

    def compose(self) -> ComposeResult:
        """Lay out title, caution, page, keys."""
        yield frame.Title("For the table")
        yield frame.Caution()
        yield Prose(id="page")
        yield frame.keys()

    def of(self, case: Case, typed: Mapping[str, str], sheet: Sheet | None) -> None:
        """Show the page of a worksheet: `sheet` as it was made of what was typed, where that can be used."""
        self._case, self._typed, self._sheet = case, dict(typed), sheet
        if self.is_attached and self.children:
            self.show_stage()

    def action_export(self) -> None:
        """Open the papers of the child with this page chosen."""
        self.home.open_export(self.child, self.stage, f"theatre.{self.stage or ''}")

    def fresh(self) -> None:
        """Forget the page that was open before."""
        self._case = None

    def children_changed(self, child_list: ChildList, name: str | None) -> None:
        """Show no number of a plan that is no longer the child's."""
        if name == self.child and self._case is not None and self.plan is not self._case.plan:
            self._case = None
            self.show_stage()

    def on_resize(self, _event: Resize) -> None:
        """Lay the lines out anew for another width."""
        self.call_after_refresh(self._laid_out)

    def _laid_out(self) -> None:
        size = self.query_one("#page", Prose).size
        if (size.width, size.height) != self._shown:
            self.show_stage()

    def show_stage(self) -> None:
        """Say the page from its start; without a case, why there is none."""
        prose = self.query_one("#page", Prose)
        self._shown = prose.size.width, prose.size.height
        where = "" if self._case is None else f", {self._case.side.upper()} FEMUR, {self._case.on}"
        self.query_one(frame.Title).update(f"{self.child}: for the table{where}")
        prose.say(tuple(self._lines(max(LEAST, prose.size.width - 5), max(LEAST_ROWS, prose.size.height - 4))))
        self.refresh_bindings()

    def _lines(self, width: int, rows: int) -> Iterator[Paragraph]:
        from pathway.views.documents.terminal import document_lines
        from pathway.views.documents.theatre_page import missing_sizes, page_of
        from pathway.views.words.sheet_on_screen import faults_by_input, labels_of
        from pathway.worksheets.osteotomy import given_of

        if self._case is None:
            yield Paragraph(CHANGED, role=Role.STAGE_BLOCKED)
            return
        try:
            given = given_of(self._case, self._typed)
        except Refused as error:
            yield Paragraph("No page: an input of the worksheet cannot be used.", role=Role.STAGE_BLOCKED, heading=True)
            labels = labels_of(self._sheet.inputs if self._sheet is not None else ())
            for name, words in faults_by_input(error.problems, labels).items():
                yield Paragraph(f"{labels.get(name, 'All together')}: {words}.", mark="-")
            return
        where = f"{self.child}: for the table, {given.side.upper()} FEMUR, {self._case.on}"
        self.query_one(frame.Title).update(where)
        # What was typed can be used, so that the sheet is the one that was made of it.
        sheet = self._sheet
        if sheet is None:
            return
        if missing := missing_sizes(given):
            yield Paragraph(f"{given.side.upper()} FEMUR: no page yet", role=Role.STAGE_BLOCKED, heading=True)
            yield Paragraph("These sizes of the bone are not measured; go back (Esc) and type them into their lines:")
            for _, label in missing:
                yield Paragraph(label, mark="-")
            return
        sketches = () if given.model.found.refused else sheet.drawings
        page = page_of(given, drawn=False, ranges=sheet.ranges)
        yield from document_lines(page, width, sketches, rows, framed=True)

    def action_part(self, by: int) -> None:
        """Go to the heading before or after the top line."""
        prose = self.query_one("#page", Prose)
        rows = [
            row
            for row, (_, said, line) in enumerate(prose.lines)
            if said.heading and line and (row == 0 or not prose.lines[row - 1][2].strip())
        ]
        now = prose.scroll_offset.y
        onward = [row for row in rows if (row > now if by > 0 else row < now)]
        if onward:
            prose.scroll_to(y=onward[0] if by > 0 else onward[-1], animate=False)
