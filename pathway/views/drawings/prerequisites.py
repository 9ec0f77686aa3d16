"""Order of the stages as a drawing: the layers of the graph with lines between names."""

from __future__ import annotations

from pathway.plan.model import Plan
from pathway.views.drawings.drawing import DEEP, INK, PAPER, SOFT, Drawing, Sheet, text_width_mm
from pathway.views.pictures.picture import Role, Span
from pathway.views.pictures.prerequisites import DOWN, GLYPHS, LEFT, RIGHT, UP, layers
from pathway.views.words.plan import STATUS_WORDS

CELL_MM, LINE_MM, EDGE_MM = 1.62, 4.6, 3.0
COLUMNS = 110
SIZE_PT = 9.0
MASKS = {glyph: mask for mask, glyph in reversed(GLYPHS.items())}
FILLS = {"done": SOFT, "under_way": SOFT, "ready": DEEP}


def graph_drawing(plan: Plan, columns: int = COLUMNS) -> Drawing:
    """Return what comes before what; as wide as the graph needs, at least `columns` letters."""
    picture = layers(plan, columns)
    sheet, status = Sheet(), {stage.id: stage.status for stage in plan.stages}
    for span in picture.spans:
        if span.role is Role.EDGE:
            _lines(sheet, span)
    for span in picture.spans:
        if span.role is Role.EDGE or not span.text.strip():
            continue
        x, y = _place(span.row, span.column)
        if span.role.value.startswith("stage_") and span.target is not None:
            state = status[span.target]
            hollow = state not in FILLS
            dashed = state == "optional"
            sheet.disc(x, y, 1.3, PAPER if hollow else FILLS[state], SOFT if dashed else DEEP, 0.45)
            if state == "blocked":
                sheet.line(x - 0.8, y - 0.8, x + 0.8, y + 0.8, DEEP, 0.45)
                sheet.line(x - 0.8, y + 0.8, x + 0.8, y - 0.8, DEEP, 0.45)
        else:
            indent = len(span.text) - len(span.text.lstrip())
            shift = 0.6 if indent else -0.6
            sheet.words(x + indent * CELL_MM + shift, y + 1.1, span.text.strip(), SIZE_PT, halo=True)
    width = 2 * EDGE_MM + picture.width * CELL_MM
    height = _key(sheet, plan, 2 * EDGE_MM + picture.height * LINE_MM + 3)
    return sheet.drawing(width, height, "Order of the stages", picture.alt)


def _place(row: int, column: float) -> tuple[float, float]:
    return EDGE_MM + (column + 0.5) * CELL_MM, EDGE_MM + (row + 0.5) * LINE_MM


def _lines(sheet: Sheet, span: Span) -> None:
    """Draw each glyph of a span as the directions it stands for; corners are rounded."""
    for offset, glyph in enumerate(span.text):
        mask = MASKS.get(glyph)
        if mask is None:
            continue
        x, y = _place(span.row, span.column + offset)
        wide, high = CELL_MM / 2, LINE_MM / 2
        ends = {UP: (x, y - high), DOWN: (x, y + high), LEFT: (x - wide, y), RIGHT: (x + wide, y)}
        used = [ends[way] for way in (UP, DOWN, LEFT, RIGHT) if mask & way]
        if len(used) == 2 and used[0][0] != used[1][0] and used[0][1] != used[1][1]:
            (x1, y1), (x2, y2) = used
            sheet.path(f"M{x1:.2f} {y1:.2f}Q{x:.2f} {y:.2f} {x2:.2f} {y2:.2f}", INK, 0.3)
            continue
        for end in used:
            sheet.line(x, y, *end, INK, 0.3)


def _key(sheet: Sheet, plan: Plan, y: float) -> float:
    x, seen = EDGE_MM + CELL_MM / 2, {stage.status for stage in plan.stages}
    for state, words in STATUS_WORDS.items():
        if state in seen:
            hollow = state not in FILLS
            sheet.disc(x, y - 1, 1.3, PAPER if hollow else FILLS[state], SOFT if state == "optional" else DEEP, 0.45)
            if state == "blocked":
                sheet.line(x - 0.8, y - 1.8, x + 0.8, y - 0.2, DEEP, 0.45)
                sheet.line(x - 0.8, y - 0.2, x + 0.8, y - 1.8, DEEP, 0.45)
            sheet.words(x + 2.4, y, words, 8, tone=SOFT)
            x += 6 + text_width_mm(words, 8)
    return y + EDGE_MM
