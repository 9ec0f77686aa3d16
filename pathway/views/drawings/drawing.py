"""Drawings in mm as data, and their SVG: vector shapes, text that stays text, tones that survive a grey printer.

x runs to the right, y downwards. Meaning is carried by shape and tone; the one hue may be lost.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass, field, replace
from functools import lru_cache
from html import escape
from typing import Literal

FACE = "Source Sans Pro"
BEHIND = "Segoe UI, Helvetica Neue, Arial, sans-serif"
INK, SOFT, FAINT, RULE, PAPER = "#17232b", "#4d5b64", "#dfe5e6", "#b9c3c6", "#ffffff"
DEEP, MIDDLE, PALE = "#0f4c5c", "#7fa6ad", "#c9dadc"
Anchor = Literal["start", "middle", "end"]
MM_PER_POINT = 25.4 / 72
CAPTION_EDGE_MM = 2.0
ROOMY = 0.47
"""Mean width of a letter in parts of its size: a little more than the face needs, so that others fit too."""


@dataclass(frozen=True, slots=True)
class Shape:
    """A path (SVG path data in mm) with its line and filling; `dash` as SVG writes it; `part` names what it shows."""

    path: str
    fill: str = "none"
    stroke: str = "none"
    width_mm: float = 0.3
    dash: str = ""
    part: str = ""


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text at a place, its size in points; `halo` keeps it readable over lines."""

    x: float
    y: float
    text: str
    size_pt: float = 8.5
    anchor: Anchor = "start"
    tone: str = INK
    strong: bool = False
    halo: bool = False


@dataclass(frozen=True, slots=True)
class Drawing:
    """A finished drawing; `title` names it and `alternative` says it for who cannot see it."""

    width_mm: float
    height_mm: float
    title: str
    alternative: str
    parts: tuple[Shape | Words, ...]

    @property
    def texts(self) -> tuple[str, ...]:
        """Return every text in the drawing, in order."""
        return tuple(part.text for part in self.parts if isinstance(part, Words))

    def svg(self, name: str = "drawing") -> str:
        """Return the drawing as SVG; `name` makes its ids unique in a page that holds several."""
        width, height = _n(self.width_mm), _n(self.height_mm)
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}mm" '
            f'height="{height}mm" role="img" aria-labelledby="{name}-title {name}-words" '
            f'font-family="{FACE}, {BEHIND}">'
        )
        words = f'<title id="{name}-title">{escape(self.title)}</title>'
        words += f'<desc id="{name}-words">{escape(self.alternative)}</desc>'
        ground = f'<path d="M0 0H{width}V{height}H0Z" fill="{PAPER}"/>'
        return "\n".join((head, words, ground, *(_part(part) for part in self.parts), "</svg>")) + "\n"


@dataclass(slots=True)
class Sheet:
    """Collects the parts of a drawing while it is made."""

    parts: list[Shape | Words] = field(default_factory=list)

    def line(
        self, x1: float, y1: float, x2: float, y2: float, tone: str = RULE, wide: float = 0.2, dash: str = ""
    ) -> None:
        """Draw a straight line."""
        self.parts.append(Shape(f"M{_n(x1)} {_n(y1)}L{_n(x2)} {_n(y2)}", stroke=tone, width_mm=wide, dash=dash))

    def bar(self, x: float, y: float, wide: float, high: float, fill: str, stroke: str = "none") -> None:
        """Draw a bar with softened corners, from its upper left corner."""
        r = min(0.8, wide / 2, high / 2)
        path = (
            f"M{_n(x + r)} {_n(y)}h{_n(wide - 2 * r)}a{_n(r)} {_n(r)} 0 0 1 {_n(r)} {_n(r)}v{_n(high - 2 * r)}"
            f"a{_n(r)} {_n(r)} 0 0 1 {_n(-r)} {_n(r)}h{_n(2 * r - wide)}a{_n(r)} {_n(r)} 0 0 1 {_n(-r)} {_n(-r)}"
            f"v{_n(2 * r - high)}a{_n(r)} {_n(r)} 0 0 1 {_n(r)} {_n(-r)}Z"
        )
        self.parts.append(Shape(path, fill=fill, stroke=stroke))

    def disc(self, x: float, y: float, radius: float, fill: str, stroke: str = "none", wide: float = 0.35) -> None:
        """Draw a circle around a point."""
        r = _n(radius)
        path = f"M{_n(x - radius)} {_n(y)}a{r} {r} 0 1 1 {_n(2 * radius)} 0a{r} {r} 0 1 1 {_n(-2 * radius)} 0Z"
        self.parts.append(Shape(path, fill=fill, stroke=stroke, width_mm=wide))

    def run(self, points: list[tuple[float, float]], stroke: str, wide: float, dash: str = "", part: str = "") -> None:
        """Draw a line through points."""
        self.parts.append(Shape(_through(points), stroke=stroke, width_mm=wide, dash=dash, part=part))

    def area(
        self,
        edge: list[tuple[float, float]],
        fill: str,
        stroke: str = "none",
        wide: float = 0.2,
        dash: str = "",
        part: str = "",
    ) -> None:
        """Fill what an edge encloses."""
        self.parts.append(Shape(_through(edge) + "Z", fill=fill, stroke=stroke, width_mm=wide, dash=dash, part=part))

    def path(self, path: str, stroke: str, wide: float) -> None:
        """Draw SVG path data as a line."""
        self.parts.append(Shape(path, stroke=stroke, width_mm=wide))

    def words(
        self,
        x: float,
        y: float,
        text: str,
        size: float = 8.5,
        anchor: Anchor = "start",
        tone: str = INK,
        *,
        strong: bool = False,
        halo: bool = False,
    ) -> None:
        """Write a line of text on its baseline."""
        self.parts.append(Words(x, y, text, size, anchor, tone, strong, halo))

    def drawing(self, width_mm: float, height_mm: float, title: str, alternative: str) -> Drawing:
        """Return the finished drawing."""
        return Drawing(width_mm, height_mm, title, alternative, tuple(self.parts))


def captioned(drawing: Drawing, text: str, size_pt: float = 7) -> Drawing:
    """Return the drawing with a text below it, in as many lines as its width asks for."""
    letters = int((drawing.width_mm - 2 * CAPTION_EDGE_MM) / (ROOMY * size_pt * MM_PER_POINT))
    lines = textwrap.wrap(text, max(1, letters))
    step = 1.3 * size_pt * MM_PER_POINT
    foot = tuple(
        Words(CAPTION_EDGE_MM, drawing.height_mm + (number + 1) * step, line, size_pt, tone=SOFT)
        for number, line in enumerate(lines)
    )
    high = drawing.height_mm + (len(lines) + 1) * step
    return replace(drawing, height_mm=high, alternative=f"{drawing.alternative} {text}", parts=(*drawing.parts, *foot))


def text_width_mm(text: str, size_pt: float) -> float:
    """Return about how wide a text is, in mm, rather too much than too little."""
    return len(text) * ROOMY * size_pt * MM_PER_POINT


def _through(points: list[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{_n(x)} {_n(y)}" for x, y in points)


def _part(part: Shape | Words) -> str:
    if isinstance(part, Shape):
        line = "" if part.stroke == "none" else f' stroke="{part.stroke}" stroke-width="{_n(part.width_mm)}"'
        dash = f' stroke-dasharray="{part.dash}"' if part.dash else ""
        named = f' data-part="{escape(part.part)}"' if part.part else ""
        ends = 'stroke-linecap="round" stroke-linejoin="round"'
        return f'<path d="{part.path}"{named} fill="{part.fill}"{line}{dash} {ends}/>'
    size = _n(part.size_pt * MM_PER_POINT)
    place = f'x="{_n(part.x)}" y="{_n(part.y)}" font-size="{size}" text-anchor="{part.anchor}"'
    weight = ' font-weight="600"' if part.strong else ""
    halo = f' stroke="{PAPER}" stroke-width="0.9" stroke-linejoin="round" paint-order="stroke"' if part.halo else ""
    return f'<text {place} fill="{part.tone}"{weight}{halo}>{escape(part.text)}</text>'


@lru_cache(maxsize=8192)
def _n(value: float) -> str:
    """Return a number in mm as SVG wants it: two places, no tail of noughts."""
    return f"{round(value, 2) + 0.0:.2f}".rstrip("0").rstrip(".")
