"""The children: who there is, what is next and when; typing searches, Enter opens."""

from __future__ import annotations

import textwrap
from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.events import Resize
from textual.widgets import DataTable, Input

from pathway.views.words.children import Row
from tui import keys
from tui.opened import ChildList
from tui.screens.base import OwnScreen
from tui.widgets import frame

HEADS = ("Child", "Age", "Diagnosis", "What is next", "When", "Difference\nat maturity\nuntreated")
KEPT_HEADS = ("Child", "Age", "Diagnosis", "Needs next", "By", HEADS[-1])
LEAST = (10, 9, 19, 18, 11, 11)
LAST = "9999"
SHARES = (1, 0, 5, 5, 0, 0)


class ChildrenScreen(OwnScreen):
    """A table of the children with a search above it."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.CHILDREN, keys.HELP, keys.QUIT]
    DEFAULT_CSS = """
    ChildrenScreen Input { border: none; height: 1; margin: 0 0 0 1; padding: 0; background: $panel; }
    ChildrenScreen Input:focus { border: none; }
    ChildrenScreen DataTable { height: 1fr; width: 1fr; margin: 0 0 0 1; background: $background; scrollbar-size: 1 1; }
    ChildrenScreen .datatable--header { background: $panel; color: $role-accent; text-style: bold; }
    """

    def __init__(self) -> None:
        super().__init__()
        self._rows: tuple[Row, ...] = ()
        self._by_day = False
        self._old = False

    def compose(self) -> ComposeResult:
        """Lay out title, caution, search, table, notice, keys."""
        yield frame.Title("Children")
        yield frame.Caution()
        yield Input(placeholder="Type to search names, diagnoses or next steps", id="search", select_on_focus=False)
        table: DataTable[Text] = DataTable(id="children", cursor_type="row", header_height=3, cell_padding=0)
        table.can_focus = False
        yield table
        yield frame.Notice(id="notice")
        yield frame.keys()

    def on_mount(self) -> None:
        """Fill the table; typing goes to the search."""
        search = self.query_one(Input)
        search.cursor_blink = False
        search.focus()
        self.fill()

    def on_resize(self, _event: Resize) -> None:
        """Give the columns the width there is."""
        self.fill()

    def children_changed(self, child_list: ChildList, name: str | None) -> None:
        """Show what is known of the children now; while another screen lies on top, when it is gone."""
        if self.is_current:
            self.fill()
        else:
            self._old = True

    def on_screen_resume(self) -> None:
        """Show what changed while another screen lay on top."""
        if self._old:
            self.fill()

    def fill(self) -> None:
        """Show the children that the search finds."""
        self._old = False
        table = self.query_one(DataTable)
        kept = self.chosen
        search = self.query_one(Input).value
        self._rows = self.home.child_list.found(search)
        if self._by_day:
            self._rows = tuple(sorted(self._rows, key=lambda row: (row.when or LAST, row.name)))
        table.clear(columns=True)
        heads = HEADS if self.home.storage is None else KEPT_HEADS
        widths = _widths(self.size.width)
        for head, width in zip(heads, widths, strict=True):
            table.add_column(head, width=width)
        for row in self._rows:
            cells = (
                f"{row.name} ✎" if row.unsaved else row.name,
                row.age,
                row.diagnosis,
                row.following,
                row.when,
                row.difference,
            )
            apart = [_wrapped(cell, width) for cell, width in zip(cells, widths, strict=True)]
            height = 1 + max(cell.count("\n") for cell in apart)
            table.add_row(*(Text(cell) for cell in apart), height=height, key=row.name)
        names = [row.name for row in self._rows]
        if kept in names:
            table.move_cursor(row=names.index(kept))
        words = "" if names or not search else f"No child matches {search!r}. Escape clears the search."
        words = self.home.listing or words
        self.query_one(frame.Notice).say(words)
        count = len(self.home.child_list.entries)
        shown = f"{len(names)} of {count}" if len(names) != count else f"{count}"
        where = f" in {self.home.storage.place}" if self.home.storage is not None else ""
        self.query_one(frame.Title).update(f"Children: {shown}{where}, planned as of {self.home.on}")

    @property
    def chosen(self) -> str | None:
        """Return the name of the child under the cursor, or None where the table is empty."""
        table = self.query_one(DataTable)
        if 0 <= table.cursor_row < len(self._rows):
            return self._rows[table.cursor_row].name
        return None

    def on_input_changed(self, _event: Input.Changed) -> None:
        """Search as one types."""
        self.fill()
        self.refresh_bindings()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Return whether an action can be done now: a search cleared, a list sorted by days where one is kept."""
        if action == "clear":
            return bool(self.query_one(Input).value)
        return self.home.storage is not None if action == "sort" else super().check_action(action, parameters)

    def on_data_table_row_selected(self, event: DataTable.RowSelected) -> None:
        """Open the child that was clicked."""
        if event.row_key.value is not None:
            self.home.open_timeline(event.row_key.value)

    def action_move(self, by: int) -> None:
        """Move the cursor of the table."""
        table = self.query_one(DataTable)
        table.move_cursor(row=max(0, min(len(self._rows) - 1, table.cursor_row + by)))

    def action_sort(self) -> None:
        """Show the children by the day of what they need first, or by name again."""
        self._by_day = not self._by_day
        self.fill()

    def action_open(self) -> None:
        """Open the child under the cursor."""
        if self.chosen is not None:
            self.home.open_timeline(self.chosen)

    def action_clear(self) -> None:
        """Clear the search."""
        self.query_one(Input).value = ""


def _wrapped(text: str, width: int) -> str:
    """Return a text in lines that leave a blank before the next column; one that just fits is left as it is."""
    if len(text) <= width:
        return text
    return "\n".join(textwrap.wrap(text, width - 1, break_long_words=False, break_on_hyphens=False))


def _widths(total: int) -> tuple[int, ...]:
    room = max(0, total - sum(LEAST) - 2)
    shares = sum(SHARES)
    return tuple(least + min(room * share // shares, 22) for least, share in zip(LEAST, SHARES, strict=True))
