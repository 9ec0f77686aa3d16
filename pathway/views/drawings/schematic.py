"""Drawings of a worksheet shown: as SVG for print, and as characters for the terminal, from the same millimetres."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from xml.sax.saxutils import escape

from pathway.worksheets.sheet import Drawing, Mark, Shape

STYLES = {
    "bone": ("#333333", 1.6),
    "shaft": ("#333333", 1.6),
    "cut": ("#b00020", 1.6),
    "wedge": ("#b00020", 1.0),
    "shift": ("#00695c", 1.6),
    "angle": ("#6a3d00", 1.0),
    "turned": ("#00695c", 1.6),
    "to come": ("#00695c", 1.0),
    "film": ("#333333", 1.6),
    "film asked back": ("#b00020", 1.6),
}
PLAIN = ("#777777", 0.8)
SVG_WIDTH, SVG_MOST_HIGH, TEXT_SIZE, MARGIN = 640.0, 900.0, 13.0, 18.0
CAUTION_SIZE, LETTERS_OF_CAUTION = 10.0, 110
CELL_ASPECT = 2.0
DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
BRAILLE = 0x2800


@dataclass(frozen=True, slots=True)
class _Frame:
    """The corner of the drawing (mm), its size, and how many units of the picture a mm takes."""

    left: float
    top: float
    width: float
    height: float
    scale: float

    def place(self, point: tuple[float, float]) -> tuple[float, float]:
        return (point[0] - self.left) * self.scale, (self.top - point[1]) * self.scale


def svg(drawing: Drawing, caution: str = "") -> str:
    """Return the drawing as SVG with its title and its alternative in words, the caution below; text stays text."""
    frame = _frame(drawing, SVG_WIDTH - 2 * MARGIN, TEXT_SIZE * 0.55)
    if frame.height * frame.scale > SVG_MOST_HIGH:
        frame = replace(frame, scale=SVG_MOST_HIGH / frame.height)
    wide, high = SVG_WIDTH, frame.height * frame.scale + 2 * MARGIN
    foot = textwrap.wrap(caution, LETTERS_OF_CAUTION)
    body = "".join(
        f"  {line}\n" for line in (*_svg_shapes(drawing, frame), *_svg_marks(drawing, frame), *_svg_foot(foot, high))
    )
    high += len(foot) * CAUTION_SIZE * 1.4
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:.0f} {high:.0f}" role="img" '
        f'font-family="sans-serif" font-size="{TEXT_SIZE:g}">\n'
        f"  <title>{escape(drawing.title)}</title>\n  <desc>{escape(drawing.alternative)}</desc>\n"
        f'  <rect width="100%" height="100%" fill="#ffffff"/>\n{body}</svg>\n'
    )


def _svg_foot(lines: list[str], top: float) -> Iterator[str]:
    for number, line in enumerate(lines):
        y = top + number * CAUTION_SIZE * 1.4
        yield f'<text x="{MARGIN:g}" y="{y:.1f}" font-size="{CAUTION_SIZE:g}" fill="#444444">{escape(line)}</text>'


def _svg_shapes(drawing: Drawing, frame: _Frame) -> Iterator[str]:
    for shape in sorted(drawing.shapes, key=lambda item: item.role != "bone"):
        colour, line = STYLES.get(shape.role, PLAIN)
        points = " ".join(f"{x + MARGIN:.1f},{y + MARGIN:.1f}" for x, y in map(frame.place, shape.points))
        tag = "polygon" if shape.closed else "polyline"
        dash = ' stroke-dasharray="4 3"' if shape.dashed else ""
        fill = "#f3eee2" if shape.role == "bone" else "none"
        yield (
            f'<{tag} class="{escape(shape.role)}" points="{points}" fill="{fill}" stroke="{colour}" '
            f'stroke-width="{line:g}" stroke-linejoin="round" stroke-linecap="round"{dash}/>'
        )


def _svg_marks(drawing: Drawing, frame: _Frame) -> Iterator[str]:
    for mark in drawing.marks:
        x, y = frame.place(mark.at)
        yield (
            f'<text x="{x + MARGIN:.1f}" y="{y + MARGIN + TEXT_SIZE / 3:.1f}" text-anchor="{mark.anchor}" '
            f'fill="#111111" stroke="#ffffff" stroke-width="3" paint-order="stroke">{escape(mark.text)}</text>'
        )


def characters(drawing: Drawing, columns: int, most_rows: int = 40) -> str:
    """Return the drawing in Braille dots with its words set in, at most `columns` wide and `most_rows` high."""
    frame = _frame(drawing, 2.0 * (columns - 1), 2.0)
    if frame.height * frame.scale > 4.0 * (most_rows - 1):
        smaller = 4.0 * (most_rows - 1) / frame.height
        frame = _Frame(frame.left, frame.top, frame.width, frame.height, smaller)
    rows = math.ceil(frame.height * frame.scale / 4) + 1
    dots = [[0] * columns for _ in range(rows)]
    for shape in drawing.shapes:
        _draw(shape, frame, dots)
    text = [[chr(BRAILLE + cell) if cell else " " for cell in row] for row in dots]
    taken: dict[int, int] = {}
    for mark in sorted(drawing.marks, key=lambda mark: frame.place(mark.at)[0]):
        _write(mark, frame, text, taken)
    return "\n".join("".join(row).rstrip() for row in text)


def _draw(shape: Shape, frame: _Frame, dots: list[list[int]]) -> None:
    points = [frame.place(point) for point in shape.points]
    if shape.closed:
        points.append(points[0])
    along = 0
    for (x0, y0), (x1, y1) in pairwise(points):
        steps = max(1, math.ceil(max(abs(x1 - x0), abs(y1 - y0))))
        for k in range(steps + 1):
            along += 1
            if shape.dashed and along % 4 >= 2:
                continue
            column, row = round(x0 + (x1 - x0) * k / steps), round(y0 + (y1 - y0) * k / steps)
            if 0 <= row // 4 < len(dots) and 0 <= column // 2 < len(dots[0]):
                dots[row // 4][column // 2] |= DOTS[row % 4][column % 2]


def _write(mark: Mark, frame: _Frame, text: list[list[str]], taken: dict[int, int]) -> None:
    """Write a mark; one that would lie on the words before it in its row goes behind them where there is room."""
    x, y = frame.place(mark.at)
    row, column = round(y) // 4, round(x) // 2
    start = column - {"start": 0, "middle": len(mark.text) // 2, "end": len(mark.text) - 1}[mark.anchor]
    start = max(0, taken.get(row, 0), start)
    start = max(0, min(start, len(text[0]) - len(mark.text)))
    if 0 <= row < len(text):
        taken[row] = start + len(mark.text) + 1
        text[row][start : start + len(mark.text)] = mark.text


def _frame(drawing: Drawing, width: float, letter: float) -> _Frame:
    """Return the frame that holds all shapes and words; a letter is so many units of the picture wide."""
    points = [point for shape in drawing.shapes for point in shape.points] + [mark.at for mark in drawing.marks]
    xs, ys = [x for x, _ in points], [y for _, y in points]
    left, right = min(xs), max(xs)
    # Words take room in units of the picture, not in mm: widen until they fit at the scale that results.
    for _ in range(8):
        scale = width / max(right - left, 1e-6)
        spans = [_span(mark, letter / scale) for mark in drawing.marks]
        left, right = min([min(xs), *(s for s, _ in spans)]), max([max(xs), *(e for _, e in spans)])
    scale = width / max(right - left, 1e-6)
    return _Frame(left, max(ys), right - left, max(ys) - min(ys), scale)


def _span(mark: Mark, letter_mm: float) -> tuple[float, float]:
    long = len(mark.text) * letter_mm
    start = mark.at[0] - {"start": 0.0, "middle": long / 2, "end": long}[mark.anchor]
    return start, start + long
