"""The lanes of the timeline: the head stays, the rows scroll, the age cursor stands on one column."""

from __future__ import annotations

import math

from textual.events import MouseScrollDown, MouseScrollUp, Resize
from textual.geometry import Region
from textual.strip import Strip

from pathway.days import age_words
from pathway.plan.model import Plan
from pathway.views.pictures.curve import curve
from pathway.views.pictures.lanes import HEAD_ROWS, Lanes
from pathway.views.pictures.picture import Axis, Role
from pathway.views.pictures.timeline import lanes_of, timeline_ages
from pathway.views.words.sides import side_words
from tui.widgets.aged_view import AgedView
from tui.widgets.paint import apart, paint_of

LEAST_YEARS = 1.0
LEAST_WIDTH, LEAST_HEIGHT = 20, 4


class TimelineView(AgedView, inherit_bindings=False):
    """The lanes of a plan and which part of the ages is shown."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.plan: Plan | None = None
        self.selected: str | None = None
        self.window: tuple[float, float] | None = None
        self.past = False
        self.top = 0
        self._lanes: Lanes | None = None

    @property
    def axis(self) -> Axis | None:
        """Return the age axis as drawn, or None before there is a plan."""
        return None if self._lanes is None else self._lanes.columns.axis

    @property
    def rows(self) -> int:
        """Return the rows that the lanes need, their head with them."""
        return 0 if self.picture is None else self.picture.height

    def ages(self, plan: Plan) -> tuple[float, float]:
        """Return the ages in years that are shown: the whole timeline, or the part that was zoomed to."""
        return self.window or self.whole(plan)

    def whole(self, plan: Plan) -> tuple[float, float]:
        """Return the ages of the whole timeline, with or without the past."""
        return timeline_ages(plan, past=self.past)

    def zoom(self, by: int) -> None:
        """Show half (1) or twice (-1) as many years around the cursor; never more than the whole timeline."""
        if self.plan is None:
            return
        low, high = self.whole(self.plan)
        start, end = self.ages(self.plan)
        span = max(LEAST_YEARS, (end - start) / 2) if by > 0 else 2 * (end - start)
        self._look(self.age - span / 2, span, low, high)

    def pan(self, by: int) -> None:
        """Move the part that is shown by a quarter of its years; the whole timeline does not move."""
        if self.plan is not None and self.window is not None:
            start, end = self.window
            self._look(start + by * (end - start) / 4, end - start, *self.whole(self.plan))

    def follow(self, age: float) -> None:
        """Move the part that is shown so that an age lies in it."""
        if self.plan is None or self.window is None:
            return
        start, end = self.window
        if not start <= age <= end:
            self._look(age - (end - start) / 2, end - start, *self.whole(self.plan))

    def show_whole(self) -> None:
        """Show the whole timeline again."""
        if self.window is not None:
            self.window = None
            self.draw_timeline()

    def open_past(self, *, past: bool) -> None:
        """Show what is done too, or fold it away."""
        self.past, self.window = past, None
        self.draw_timeline()

    def _look(self, start: float, span: float, low: float, high: float) -> None:
        if span >= high - low:
            self.show_whole()
            return
        start = max(low, min(high - span, start))
        if self.window != (start, start + span):
            self.window = (start, start + span)
            self.draw_timeline()

    @property
    def step_years(self) -> float:
        """Return the age that one key press moves: whole months, at least a column's worth."""
        axis = self.axis
        if axis is None:
            return 1 / 12
        months = 12 * (axis.to_age - axis.from_age) / (axis.right - axis.left)
        return max(1, math.ceil(months)) / 12

    def show_plan(self, plan: Plan, selected: str | None) -> None:
        """Show a plan with one stage selected, scrolled to where it stands."""
        self.plan, self.selected = plan, selected
        self.draw_timeline()
        self.reveal()

    def draw_timeline(self) -> None:
        """Lay the lanes out for the width there is; cursor and scrolling need no new layout."""
        if self.plan is None or self.size.width < LEAST_WIDTH:
            return
        drawn = lanes_of(self.plan, self.size.width, *self.ages(self.plan), selected=self.selected, past=self.past)
        self._lanes = drawn
        self.show_aged(drawn.picture, self.selected)
        self.scroll_rows(0)

    def reveal(self) -> None:
        """Scroll so that the selected stage is seen."""
        place = None if self._lanes is None else self._lanes.places.get(self.selected or "")
        if place is None:
            return
        first, last = place
        room = max(1, self.size.height - HEAD_ROWS)
        first, last = first - HEAD_ROWS, last - HEAD_ROWS
        if first < self.top or last >= self.top + room:
            self.top = max(0, min(first, self._most_top)) if first < self.top else max(0, last - room + 1)
            self.refresh()

    @property
    def _most_top(self) -> int:
        return max(0, self.rows - max(self.size.height, HEAD_ROWS + 1))

    def scroll_rows(self, by: int) -> bool:
        """Scroll the lanes by rows below their head; return whether that moved anything."""
        before = self.top
        self.top = max(0, min(self._most_top, self.top + by))
        if self.top != before:
            self.refresh()
        return self.top != before

    def on_mouse_scroll_down(self, event: MouseScrollDown) -> None:
        """Scroll the lanes down."""
        self.scroll_rows(1)
        event.stop()

    def on_mouse_scroll_up(self, event: MouseScrollUp) -> None:
        """Scroll the lanes up."""
        self.scroll_rows(-1)
        event.stop()

    def on_resize(self, _event: Resize) -> None:
        """Lay the lanes out anew."""
        self.draw_timeline()
        self.reveal()

    def row_of(self, y: int) -> int:
        """Return which row of the picture lies in a row of the widget: the head stays, the lanes scroll."""
        return y if y < HEAD_ROWS else y + self.top

    def watch_age(self, old: float, new: float) -> None:
        """Repaint the columns of the cursor, and what the head says of the age."""
        super().watch_age(old, new)
        if self.axis is not None:
            self.refresh(Region(0, 1, self.axis.left, 1))

    def render_line(self, y: int) -> Strip:
        """Return a row; the second of the head says the age of the cursor and which rows are seen."""
        strip = super().render_line(y)
        if y != 1 or self._lanes is None or self.plan is None:
            return strip
        axis, columns = self._lanes.columns.axis, self._lanes.columns
        style = paint_of(self.app).style(Role.AXIS)
        seen = self._seen_words()
        left = Strip(apart(f"{self._age_words(axis.left):<{axis.left}}", paint_of(self.app).style(Role.LABEL)))
        middle = strip.crop(axis.left, columns.planned)
        right = Strip(apart(f"{seen:<{self.size.width - columns.planned}}", style))
        return Strip.join([left, middle, right])

    def _age_words(self, room: int) -> str:
        """Return the age of the cursor with the difference there: what fits whole, the age at least."""
        plan = self.plan
        assert plan is not None
        words, line = f"At {age_words(self.age)}", curve(plan)
        if line is not None and line.points[0].age_years - 0.1 <= self.age:
            said = f"{words}: {side_words(line.with_plan(min(self.age, line.points[-1].age_years)).p50)}"
            words = said if len(said) < room else words
        return words if len(words) < room else ""

    def _seen_words(self) -> str:
        """Return which rows are seen where not all are."""
        rows, room = self.rows - HEAD_ROWS, self.size.height - HEAD_ROWS
        return f"rows {self.top + 1}-{self.top + room} of {rows}" if rows > room > 0 else ""
