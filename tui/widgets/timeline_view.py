"""The timeline with its age cursor: the picture is painted once, the cursor laid over one column."""

from __future__ import annotations

import math

from rich.segment import Segment
from textual.events import Click, Resize
from textual.geometry import Region
from textual.message import Message
from textual.reactive import reactive
from textual.strip import Strip

from pathway.plan.model import Plan
from pathway.views.pictures.curve import LOWER_BLOCKS
from pathway.views.pictures.picture import Axis, Role
from pathway.views.pictures.timeline import ROWS_FOR_LEGEND, timeline, timeline_ages, timeline_axis
from tui.widgets.paint import paint_of
from tui.widgets.picture_view import PictureView

LEAST_YEARS = 1.0
UNDER_CURSOR = (Role.BLANK, Role.GOAL, Role.WINDOW, Role.TODAY)


class TimelineView(PictureView, inherit_bindings=False):
    """The timeline of a plan; fills its place."""

    DEFAULT_CSS = """
    TimelineView { overflow: hidden hidden; }
    """
    age: reactive[float] = reactive(0.0, repaint=False)

    class AgePicked(Message):
        """An age in years was clicked."""

        def __init__(self, age: float) -> None:
            self.age = age
            super().__init__()

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.plan: Plan | None = None
        self.selected: str | None = None
        self.goal_mm: tuple[float, float] | None = None
        self.window: tuple[float, float] | None = None
        self._taken: frozenset[tuple[int, int]] = frozenset()

    @property
    def axis(self) -> Axis | None:
        """Return the age axis as drawn, or None before there is a plan."""
        if self.plan is None or self.size.width == 0:
            return None
        return timeline_axis(self.size.width, *self.ages(self.plan))

    def ages(self, plan: Plan) -> tuple[float, float]:
        """Return the ages in years that are shown: the whole timeline, or the part that was zoomed to."""
        return self.window or timeline_ages(plan)

    def zoom(self, by: int) -> None:
        """Show half (1) or twice (-1) as many years around the cursor; never more than the whole timeline."""
        if self.plan is None:
            return
        low, high = timeline_ages(self.plan)
        start, end = self.ages(self.plan)
        span = max(LEAST_YEARS, (end - start) / 2) if by > 0 else 2 * (end - start)
        self._look(self.age - span / 2, span, low, high)

    def pan(self, by: int) -> None:
        """Move the part that is shown by a quarter of its years; the whole timeline does not move."""
        if self.plan is not None and self.window is not None:
            start, end = self.window
            self._look(start + by * (end - start) / 4, end - start, *timeline_ages(self.plan))

    def follow(self, age: float) -> None:
        """Move the part that is shown so that an age lies in it."""
        if self.plan is None or self.window is None:
            return
        start, end = self.window
        if not start <= age <= end:
            self._look(age - (end - start) / 2, end - start, *timeline_ages(self.plan))

    def show_whole(self) -> None:
        """Show the whole timeline again."""
        if self.window is not None:
            self.window = None
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

    def show_plan(self, plan: Plan, selected: str | None, goal_mm: tuple[float, float] | None) -> None:
        """Show a plan with one stage selected."""
        self.plan, self.selected, self.goal_mm = plan, selected, goal_mm
        self.draw_timeline()

    def draw_timeline(self) -> None:
        """Lay the timeline out for the place there is."""
        if self.plan is None or self.size.width < 20 or self.size.height < 4:
            return
        picture = timeline(
            self.plan,
            self.size.width,
            self.size.height,
            *self.ages(self.plan),
            goal_mm=self.goal_mm,
            selected=self.selected,
            shaded=self.app.no_color,
        )
        self._taken = frozenset(
            (span.row, span.column + offset)
            for span in picture.spans
            for offset, glyph in enumerate(span.text)
            if glyph not in " ─" or span.role in (Role.LABEL, Role.TEXT, Role.LEGEND)
            if span.role not in UNDER_CURSOR or glyph in LOWER_BLOCKS[1:] or glyph.isalnum()
        )
        self.show(picture, self.selected)

    def on_resize(self, _event: Resize) -> None:
        """Lay the timeline out anew."""
        self.draw_timeline()

    def watch_age(self, old: float, new: float) -> None:
        """Repaint the two columns that the cursor leaves and enters."""
        axis = self.axis
        if axis is not None:
            height = self.size.height
            self.refresh(*(Region(axis.column(age), 0, 1, height) for age in (old, new)))

    def render_line(self, y: int) -> Strip:
        """Return a row with the cursor laid over it."""
        strip = super().render_line(y)
        axis = self.axis
        if axis is None or y >= len(self._strips) - (1 if self.size.height >= ROWS_FOR_LEGEND else 0):
            return strip
        column = axis.column(self.age)
        if (y, column) in self._taken:
            return strip
        before, middle, after = strip.divide([column, column + 1, self.size.width])
        segment = next(iter(middle))
        paint = paint_of(self.app)
        middle = Strip([Segment("│", (segment.style or paint.style(Role.BLANK)) + paint.line("cursor"))], 1)
        return Strip.join([before, middle, after])

    def on_click(self, event: Click) -> None:
        """Say which age was clicked; the stage under the pointer is said by the picture itself."""
        axis = self.axis
        if axis is not None and event.x >= axis.left:
            self.post_message(self.AgePicked(axis.age(event.x + 0.5)))
