"""The table of children: only the lines that are seen are laid out, so that ten thousand children scroll like ten."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from rich.segment import Segment
from rich.style import Style
from textual.events import Click, MouseScrollDown, MouseScrollUp, Resize
from textual.message import Message
from textual.strip import Strip
from textual.widget import Widget

from pathway.questions.urgency import Order
from pathway.views.words.child_table import (
    Lines,
    Part,
    Piece,
    due_head,
    due_lines,
    head_lines,
    layout_of,
    lines_of,
)
from pathway.views.words.children import Row
from pathway.views.words.due import DueRow
from tui.widgets.paint import apart, paint_of

ROLES: dict[Part, tuple[str, bool]] = {
    "mark": ("stage_blocked", True),
    "name": ("accent", True),
    "plain": ("text", False),
    "stage": ("text", True),
    "day": ("text", False),
    "last": ("text", True),
    "needs": ("text", False),
    "alarm": ("stage_blocked", True),
    "quiet": ("muted", False),
}
"""The colour of each kind of text, and whether it is bold."""
WHEEL = 3
THUMB, RAIL = "┃", "│"


class ChildTable(Widget):
    """Rows of children, or of what is due, with a cursor; a row is as high as its words need."""

    DEFAULT_CSS = """
    ChildTable { height: 1fr; width: 1fr; margin: 0 0 0 1; }
    """

    class Picked(Message):
        """A child was clicked."""

        def __init__(self, name: str) -> None:
            self.name = name
            super().__init__()

    class OrderPicked(Message):
        """The head of a column was clicked."""

        def __init__(self, order: Order) -> None:
            self.order: Order = order
            super().__init__()

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.rows: Sequence[Row] | Sequence[DueRow] = ()
        self.cursor = 0
        self._seen: str | None = None
        self._top = 0
        self._order: Order = "urgency"
        self._accepted = False
        self._layout = layout_of(0, accepted=False)
        self._longest = 0
        self._laid: dict[int, Lines] = {}
        self._body: list[tuple[int, tuple[Piece, ...]]] = []

    def on_mount(self) -> None:
        """Follow the theme."""
        self.app.theme_changed_signal.subscribe(self, lambda _: self.refresh())

    def on_resize(self, _event: Resize) -> None:
        """Give the columns the width there is."""
        self._lay_out()

    def show(
        self,
        rows: Sequence[Row] | Sequence[DueRow],
        order: Order,
        cursor: int,
        *,
        accepted: bool,
        by_itself: bool = False,
    ) -> None:
        """Show rows in an order with the cursor on one of them; `accepted` is whether acceptance is kept.

        Of rows that change `by_itself` the child seen under the cursor is remembered until the new ones are drawn.
        """
        self._seen = (self._seen or self.chosen) if by_itself else None
        self.rows, self._order, self._accepted = rows, order, accepted
        self.cursor = max(0, min(cursor, len(rows) - 1))
        self._longest = max((len(row.name) for row in rows), default=0)
        self._lay_out()

    def move(self, by: int) -> None:
        """Move the cursor so many rows."""
        self._seen = None
        self.cursor = max(0, min(len(self.rows) - 1, self.cursor + by))
        self._follow()

    @property
    def chosen(self) -> str | None:
        """Return the name of the child under the cursor, or None where there is no row."""
        return self.rows[self.cursor].name if self.rows else None

    @property
    def as_seen(self) -> str | None:
        """Return the name of the child under the cursor as the list was drawn last."""
        return self._seen if any(row.name == self._seen for row in self.rows) else self.chosen

    def choose(self, name: str) -> None:
        """Put the cursor on a child, where it is on the list; of several rows of one child it keeps its own."""
        if name != self.chosen:
            at = next((at for at in range(len(self.rows)) if self.rows[at].name == name), self.cursor)
            self.move(at - self.cursor)

    @property
    def shown(self) -> tuple[str, ...]:
        """Return the names of the children of whom a line is seen."""
        return tuple(dict.fromkeys(self.rows[at].name for at, _ in self._body))

    def _lay_out(self) -> None:
        self._layout = layout_of(self.size.width - 1, accepted=self._accepted)
        self._laid = {}
        self._follow()

    def _follow(self) -> None:
        """Scroll as little as shows the whole row under the cursor."""
        room = self._room
        if room == 0 or not self.rows:
            self._top, self._body = 0, []
            self.refresh()
            return
        self._top = max(0, min(self._top, self.cursor))
        needed, first = 0, self.cursor + 1
        while first > 0 and needed + len(self._lines(first - 1)) <= room:
            first -= 1
            needed += len(self._lines(first))
            if first <= self._top:
                break
        self._top = max(self._top, min(first, self.cursor))
        self._fill()

    def _fill(self) -> None:
        self._body, at = [], self._top
        while at < len(self.rows) and len(self._body) < self._room:
            self._body += [(at, pieces) for pieces in self._lines(at)]
            at += 1
        self.refresh()

    @property
    def _room(self) -> int:
        return max(0, self.size.height - len(self._head))

    @property
    def _head(self) -> Lines:
        due = bool(self.rows) and isinstance(self.rows[0], DueRow)
        return due_head(self._layout, self._longest) if due else head_lines(self._layout, self._order)

    def _lines(self, at: int) -> Lines:
        if at not in self._laid:
            row, of = self.rows[at], self._layout
            self._laid[at] = due_lines(row, of, self._longest) if isinstance(row, DueRow) else lines_of(row, of)
        return self._laid[at]

    def render_line(self, y: int) -> Strip:
        """Return one line: of the head, or of a child with the bar that says where in the list one is."""
        paint, head = paint_of(self.app), self._head
        if y < len(head):
            return self._strip(head[y], lambda part: paint.style(ROLES[part][0], "panel", bold=True), " ")
        number = y - len(head)
        bar = self._bar(number)
        if number >= len(self._body):
            return self._strip((), lambda _: paint.style("text"), bar)
        at, pieces = self._body[number]
        if at == self.cursor:
            self._seen = None
            return self._strip(pieces, lambda _: paint.style("chosen_text", "chosen", bold=True), bar)
        return self._strip(pieces, lambda part: paint.style(ROLES[part][0], bold=ROLES[part][1]), bar)

    def _strip(self, pieces: Sequence[Piece], style: Callable[[Part], Style], bar: str) -> Strip:
        width, at = self._layout.width, 0
        segments: list[Segment] = []
        for piece in pieces:
            segments.append(Segment(" " * (piece.at - at), style("plain")))
            segments += apart(piece.text, style(piece.part))
            at = piece.at + len(piece.text)
        segments.append(Segment(" " * max(0, width - at), style("plain")))
        segments.append(Segment(bar, paint_of(self.app).style("muted")))
        return Strip(segments).crop(0, self.size.width)

    def _bar(self, number: int) -> str:
        """Return the bar on the right in one line, blank where every row is seen."""
        seen, every = len(self.shown), len(self.rows)
        if seen >= every:
            return " "
        first = self._top * self._room // every
        last = max(first, (self._top + seen) * self._room // every - 1)
        return THUMB if first <= number <= last or (number == self._room - 1 < first) else RAIL

    def on_click(self, event: Click) -> None:
        """Open the child that was clicked, or order the list by the column whose head was."""
        event.stop()
        number = event.y - len(self._head)
        if number < 0:
            under = [column for column in self._layout.columns if column.at <= event.x]
            if under:
                self.post_message(self.OrderPicked(under[-1].order))
        elif number < len(self._body):
            self.cursor = self._body[number][0]
            self.refresh()
            self.post_message(self.Picked(self.rows[self.cursor].name))

    def on_mouse_scroll_down(self, event: MouseScrollDown) -> None:
        """Go further down the list."""
        event.stop()
        self.move(WHEEL)

    def on_mouse_scroll_up(self, event: MouseScrollUp) -> None:
        """Go further up the list."""
        event.stop()
        self.move(-WHEEL)
