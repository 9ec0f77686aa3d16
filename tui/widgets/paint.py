"""From roles to styles: the only bridge between a picture and the colours of the theme."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from rich.color import Color as RichColor
from rich.segment import Segment
from rich.style import Style
from textual.app import App
from textual.color import Color
from textual.strip import Strip

from pathway.views.pictures.picture import Picture, Role, Span
from tui.themes import variable

Lit = Callable[[Span], bool]


_PAINTS: dict[str, Paint] = {}


def paint_of(app: App[object]) -> Paint:
    """Return the styles of the theme in use."""
    if app.theme not in _PAINTS:
        _PAINTS[app.theme] = Paint(app.theme_variables)
    return _PAINTS[app.theme]


class Paint:
    """Styles of one theme; made once."""

    def __init__(self, variables: Mapping[str, str]) -> None:
        self._variables = variables
        self._styles: dict[tuple[str, str, bool], Style] = {}

    def style(self, role: str, ground: str = "ground", *, bold: bool = False) -> Style:
        """Return the style of text of a role on a ground."""
        key = (role, ground, bold)
        if key not in self._styles:
            self._styles[key] = Style(color=self._colour(role), bgcolor=self._colour(ground), bold=bold)
        return self._styles[key]

    def _colour(self, role: str) -> RichColor:
        return Color.parse(self._variables[variable(role)]).rich_color

    def strips(self, picture: Picture, chosen: str | None, lit: Lit | None = None) -> list[Strip]:
        """Return the picture row by row; cells of the chosen stage stand out, `lit` cells are bold."""
        rows: list[list[Span]] = [[] for _ in range(picture.height)]
        for span in picture.spans:
            rows[span.row].append(span)
        return [self._strip(row, picture.width, chosen, lit) for row in rows]

    def _strip(self, spans: list[Span], width: int, chosen: str | None, lit: Lit | None) -> Strip:
        segments: list[Segment] = []
        blank = self.style(Role.BLANK)
        at = 0
        for span in spans:
            if span.column > at:
                segments.append(Segment(" " * (span.column - at), blank))
            segments += apart(span.text, self._span_style(span, chosen, lit))
            at = span.column + len(span.text)
        if at < width:
            segments.append(Segment(" " * (width - at), blank))
        return Strip(segments, width)

    def _span_style(self, span: Span, chosen: str | None, lit: Lit | None) -> Style:
        if chosen is not None and span.target == chosen and span.role not in (Role.WINDOW, Role.LAST_DAY):
            return self.style("chosen_text", "chosen", bold=True)
        if chosen is not None and span.target == chosen and span.role is Role.WINDOW:
            return self.style(Role.LABEL, bold=True)
        role = span.role
        bold = role.startswith("stage_") or role in (Role.MEASURED, Role.LANE_LABEL, Role.LAST_DAY)
        if lit is not None:
            bold = lit(span)
            if role is Role.EDGE:
                role = Role.TODAY if bold else Role.EDGE
        return self.style(role, span.ground or "ground", bold=bold)

    def line(self, role: str) -> Style:
        """Return a style that only sets the colour of the text."""
        return Style(color=self._colour(role), bold=True)


def apart(text: str, style: Style) -> list[Segment]:
    """Return text as segments, the blanks at its ends by themselves: exported pictures drop them otherwise."""
    body = text.strip(" ")
    if not body:
        return [Segment(text, style)]
    left = text[: len(text) - len(text.lstrip(" "))]
    right = text[len(text.rstrip(" ")) :]
    return [Segment(part, style) for part in (left, body, right) if part]
