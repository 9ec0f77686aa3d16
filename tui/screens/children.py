"""The children: who there is, what is next, until when and what is due; typing searches, Enter opens."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.events import Resize
from textual.widgets import Input

from pathway.questions.ahead import DUE_MONTHS
from pathway.questions.urgency import ORDERS, Order
from pathway.views.words.child_table import COLUMNS, order_words
from pathway.views.words.children import Row, in_order, matching, no_match
from pathway.views.words.due import DueRow
from tui import keys
from tui.opened import ChildList
from tui.screens.base import OwnScreen
from tui.widgets import frame
from tui.widgets.child_table import ChildTable

CLEAR = "Escape clears the search."
NOTHING_DUE = "Nothing is due in the next {months} months as planned; F3 returns to the children."
BEGIN = "n"


class ChildrenScreen(OwnScreen):
    """A table of the children, or of what is due, with a search above it."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.CHILDREN, keys.HELP, keys.QUIT]
    HELP_HEAD = "Children"
    DEFAULT_CSS = """
    ChildrenScreen Input { border: none; height: 1; margin: 0 0 0 1; padding: 0; background: $panel; }
    ChildrenScreen Input:focus { border: none; }
    """

    def __init__(self) -> None:
        super().__init__()
        self.order: Order = "urgency"
        self._due = self._due_by_name = False
        self._due_of: ChildList | None = None
        self._due_rows: tuple[DueRow, ...] = ()
        self._old = False
        self._moved = False
        """Whether the list was used: until then the cursor stands on the first child, whoever that is."""

    def compose(self) -> ComposeResult:
        """Lay out title, caution, search, table, notice, keys."""
        yield frame.Title("Children")
        yield frame.Caution()
        yield Input(placeholder="Type to search all that the list says", id="search", select_on_focus=False)
        yield ChildTable(id="children")
        yield frame.Notice(id="notice")
        yield frame.keys()

    def on_mount(self) -> None:
        """Fill the table; typing goes to the search."""
        search = self.query_one(Input)
        search.cursor_blink = False
        search.focus()
        self.fill()

    def on_resize(self, _event: Resize) -> None:
        """Say as much in the title as there is room for."""
        self.fill()

    def children_changed(self, child_list: ChildList, name: str | None) -> None:
        """Show what is known of the children now; while another screen lies on top, when it is gone."""
        if self.is_current:
            self.fill(by_itself=True)
        else:
            self._old = True

    def on_screen_resume(self) -> None:
        """Show what changed while another screen lay on top."""
        if self._old:
            self.fill()

    def fill(self, *, by_itself: bool = False) -> None:
        """Show what the search finds, in the order chosen; the cursor stays on the child that was chosen.

        A list that changes `by_itself`, as plans arrive, is answered to by Enter as it was seen last.
        """
        self._old = False
        table, search = self.query_one(ChildTable), self.query_one(Input).value
        kept, at = self.chosen, table.cursor
        rows = self._found(search)
        names = [row.name for row in rows]
        # Of the rows of one child the cursor keeps its own.
        stays = at < len(names) and names[at] == kept
        cursor = 0 if not self._moved else at if stays else names.index(kept) if kept in names else 0
        table.show(rows, self.order, cursor, accepted=self.home.storage is not None, by_itself=by_itself)
        said = self.home.listing or self._notice(search, len(rows)) or self.home.came_back or self.home.once
        self.query_one(frame.Notice).say(said)
        self.query_one(frame.Title).update(self._title(len(rows), search))

    def _found(self, search: str) -> Sequence[Row] | Sequence[DueRow]:
        children = self.home.child_list
        if self._due:
            if self._due_of is not children:  # of ten thousand children it takes half a second to gather
                self._due_of, self._due_rows = children, children.due(self.home.on, DUE_MONTHS)
            found = matching(self._due_rows, search)
            return sorted(found, key=lambda item: item.name) if self._due_by_name else found
        return in_order(children.found(search), self.order)

    def _notice(self, search: str, found: int) -> str:
        if found or not self.home.child_list.entries:
            return ""
        if search:
            return no_match(search, CLEAR, accepted=self.home.storage is not None)
        return NOTHING_DUE.format(months=DUE_MONTHS)

    def _title(self, found: int, search: str) -> str:
        entries = self.home.child_list.entries
        count, left = len(entries), sum(entry.waiting for entry in entries)
        planning = f", planning {count - left + 1} of {count} …" if left else ""
        where = f" in {self.home.storage.place}" if self.home.storage is not None else ""
        narrow = self.size.width < COLUMNS
        if self._due:
            order = order_words("name") if self._due_by_name else "overdue first"
            if narrow:
                return f"Due in {DUE_MONTHS} months: {found}, {order}{planning}"
            return f"What is due in {DUE_MONTHS} months: {found}{where}, {order}, as of {self.home.on}{planning}"
        if narrow:  # the order stands below, in the head of the list
            return f"{count} children on {self.home.on}{planning}"
        shown = f"{found} of {count}" if search or found != count else f"{count}"
        planned = planning or f", planned as of {self.home.on}"
        return f"Children: {shown}{where}, {order_words(self.order)}{planned}"

    @property
    def chosen(self) -> str | None:
        """Return the name of the child under the cursor, or None where the table is empty."""
        return self.query_one(ChildTable).chosen

    def on_input_changed(self, event: Input.Changed) -> None:
        """Search as one types; where there is nobody to search, n begins a child."""
        if event.value.lower() == BEGIN and not self.home.child_list.entries:
            self.query_one(Input).value = ""
            self.home.open_new_child()
            return
        self._from_the_top()
        self.refresh_bindings()

    def _from_the_top(self) -> None:
        """Show what was asked for with the cursor on the first child, where it stays as plans arrive."""
        self._moved = False
        self.fill()
        self._moved = True

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Return whether an action can be done now: a search is cleared where there is one."""
        return bool(self.query_one(Input).value) if action == "clear" else super().check_action(action, parameters)

    def on_child_table_picked(self, event: ChildTable.Picked) -> None:
        """Open the child that was clicked."""
        self._open(event.name)

    def _open(self, child: str) -> None:
        self._moved = True
        self.query_one(ChildTable).choose(child)
        if self.home.once:
            self.home.once = ""
            self.fill()
        self.home.open_timeline(child)

    def on_child_table_order_picked(self, event: ChildTable.OrderPicked) -> None:
        """Order the children by the column whose head was clicked; again: by urgency."""
        if not self._due:
            self._in_order("urgency" if event.order == self.order else event.order)

    def action_move(self, by: int) -> None:
        """Move the cursor of the table."""
        self._moved = True
        self.query_one(ChildTable).move(by)

    def action_sort(self) -> None:
        """Show the children in the next order; what is due by day or by name."""
        if self._due:
            self._due_by_name = not self._due_by_name
            self._from_the_top()
            return
        self._in_order(ORDERS[(ORDERS.index(self.order) + 1) % len(ORDERS)])

    def _in_order(self, order: Order) -> None:
        self.order = order
        self._from_the_top()

    def action_due(self) -> None:
        """Show what is due, item by item, or the children again."""
        self._due = not self._due
        self.fill()
        self.refresh_bindings()

    def action_open(self) -> None:
        """Open the child under the cursor."""
        child = self.query_one(ChildTable).as_seen
        if child is not None:
            self._open(child)
        elif not self.home.child_list.entries and not self.home.unreadable:
            self.home.open_new_child()

    def action_results(self) -> None:
        """Open the clinic's own results."""
        self.home.open_results()

    def action_new(self) -> None:
        """Open the form for a new child."""
        self.home.open_new_child()

    def action_clear(self) -> None:
        """Clear the search."""
        self.query_one(Input).value = ""
