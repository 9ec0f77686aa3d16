"""The curve below the lanes: on their age axis, with the ways and the end beside it; or alone on a small screen."""

from __future__ import annotations

from textual.events import Resize

from pathway.plan.model import Plan
from pathway.views.pictures.picture import Axis
from pathway.views.pictures.timeline import GUTTER, curve_axis, curve_picture
from tui.widgets.aged_view import AgedView

LEAST_WIDTH, LEAST_HEIGHT = 24, 3


class CurveView(AgedView, inherit_bindings=False):
    """The leg difference by age."""

    can_focus = False

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.plan: Plan | None = None
        self.goal_mm: tuple[float, float] | None = None
        self._ages = (0.0, 1.0)
        self._wide: int | None = None
        self._drawn: tuple[object, ...] = ()

    @property
    def axis(self) -> Axis | None:
        """Return the age axis as drawn, or None before there is a plan."""
        if self.plan is None or self.size.width < LEAST_WIDTH:
            return None
        if self._wide is None:
            return curve_axis(self.size.width, *self._ages)
        return Axis(*self._ages, GUTTER, max(GUTTER + 1, min(GUTTER + self._wide, self.size.width)))

    def show_curve(
        self, plan: Plan, ages: tuple[float, float], wide: int | None, goal_mm: tuple[float, float] | None
    ) -> None:
        """Show the curve of a plan between two ages; `wide` columns of axis lie below lanes, None stands alone."""
        self.plan, self._ages, self._wide, self.goal_mm = plan, ages, wide, goal_mm
        self.draw_curve()

    def draw_curve(self) -> None:
        """Lay the curve out for the place there is, unless it stands there already."""
        axis = self.axis
        if self.plan is None or axis is None or self.size.height < LEAST_HEIGHT:
            return
        shaded = self.app.no_color
        wanted = (id(self.plan), axis, self.size, self.goal_mm, self.symbols, shaded)
        if wanted == self._drawn:
            return
        self._drawn = wanted
        picture = curve_picture(
            self.plan,
            axis,
            self.size.width,
            self.size.height,
            goal_mm=self.goal_mm,
            shaded=shaded,
            ages=self._wide is None,
            symbols=self.symbols,
        )
        self.show_aged(picture, None)

    def on_resize(self, _event: Resize) -> None:
        """Lay the curve out anew."""
        self.draw_curve()
