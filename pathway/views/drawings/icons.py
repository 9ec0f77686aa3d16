"""Chances as icon arrays: of 100 children, one mark each, and always of the same 100.

Counts of people beside a picture of all of them, with one denominator, are understood better than percentages, most of
all by readers with little practice in numbers: Garcia-Retamero R, Galesic M. Who profits from visual aids: overcoming
challenges in people's understanding of risks. Social Science & Medicine 2010; 70(7): 1019-1025 (entry seen, the finding
from memory: the article was not read).
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from pathway.views.drawings.drawing import DEEP, INK, PAPER, RULE, SOFT, Drawing, Sheet, text_width_mm
from pathway.views.drawings.growth import WIDE_MM
from pathway.views.words.wording import Wording

Level = Literal["sure", "best", "maybe", "none"]
LEVELS: tuple[Level, ...] = ("sure", "best", "maybe", "none")
OF, ACROSS = 100, 10
MARK_MM, PITCH_MM = 1.85, 2.4
ARRAY_MM = (ACROSS - 1) * PITCH_MM + MARK_MM
EDGE_MM, GAP_MM, ROW_GAP_MM = 1.0, 2.4, 3.5
LEAST_COLUMN_MM = 56.0
SIZE_PT, LINE_MM = 8.5, 3.8
TITLE_MM, KEY_LINE_MM = 6.2, 4.8


@dataclass(frozen=True, slots=True)
class IconRow:
    """What happens to how many of 100 children: the best guess, its range where one is known, good or bad.

    Events are counted, so that a range may pass 100 where a child can have several. Raises ValueError where the
    numbers are no such range.
    """

    name: str
    per_100: float
    low: float | None
    high: float | None
    harm: bool

    def __post_init__(self) -> None:
        low = self.per_100 if self.low is None else self.low
        high = self.per_100 if self.high is None else self.high
        if not 0 <= low <= self.per_100 <= high:
            raise ValueError(f"{self.name}: {self.low} to {self.high} is no range around {self.per_100}")

    def levels(self) -> tuple[Level, ...]:
        """Return the marks in order: below the range, up to the best guess, up to its end, and the rest."""
        best = _marks(self.per_100)
        low = best if self.low is None else _marks(self.low)
        high = best if self.high is None else _marks(self.high)
        counts = (low, best - low, high - best, OF - high)
        return tuple(level for level, many in zip(LEVELS, counts, strict=True) for _ in range(many))


def _marks(of_100: float) -> int:
    return min(round(of_100), OF)


def icon_array(rows: Sequence[IconRow], words: Wording, width_mm: float = WIDE_MM) -> Drawing:
    """Return an array for each row, side by side as the width allows: what is hoped for first, then what may go wrong.

    Raises ValueError without a row.
    """
    if not rows:
        raise ValueError("there is nothing to draw")
    room = width_mm - 2 * EDGE_MM
    columns = max(1, int(room / LEAST_COLUMN_MM))
    sheet, y = Sheet(), 0.0
    for harm in (False, True):
        group = [row for row in rows if row.harm is harm]
        if not group:
            continue
        sheet.words(EDGE_MM, y + 4.2, words.say("icons.harms" if harm else "icons.benefits"), 9.5, strong=True)
        y += TITLE_MM
        for start in range(0, len(group), columns):
            y = _line(sheet, words, group[start : start + columns], y, room / columns)
    y = _key(sheet, words, rows, y, width_mm)
    return sheet.drawing(width_mm, y, words.say("icons.title"), " ".join(_alternative(rows, words)))


def _line(sheet: Sheet, words: Wording, rows: Sequence[IconRow], y: float, column: float) -> float:
    """Draw arrays side by side; return where the next ones begin."""
    low = y + ARRAY_MM
    for k, row in enumerate(rows):
        x = EDGE_MM + k * column
        for number, level in enumerate(row.levels()):
            across, down = number % ACROSS, number // ACROSS
            _mark(sheet, x + across * PITCH_MM, y + down * PITCH_MM, level, harm=row.harm)
        left = x + ARRAY_MM + GAP_MM
        foot = y + 2.6
        for text, strong in _beside(row, words, column - ARRAY_MM - 2 * GAP_MM):
            sheet.words(left, foot, text, SIZE_PT, strong=strong)
            low = max(low, foot + 0.8)
            foot += LINE_MM
    return low + ROW_GAP_MM


def _beside(row: IconRow, words: Wording, wide: float) -> Iterator[tuple[str, bool]]:
    letters = max(6, int(wide / text_width_mm("x", SIZE_PT)))
    for line in textwrap.wrap(row.name, letters, break_long_words=False):
        yield line, False
    for line in textwrap.wrap(count_words(row, words), letters, break_long_words=False):
        yield line, True
    if told := range_words(row, words):
        for line in textwrap.wrap(told, letters, break_long_words=False):
            yield line, False


def count_words(row: IconRow, words: Wording) -> str:
    """Return the best guess in words: `56 of 100`, `fewer than 1 of 100`."""
    return words.say("icons.count", count=_count(row.per_100, words))


def range_words(row: IconRow, words: Wording) -> str:
    """Return the range in words: `(40 to 70)`; "" where there is none, or none that can be told in whole children."""
    if row.low is None or row.high is None:
        return ""
    low, high = _count(row.low, words), _count(row.high, words)
    return "" if low == high else words.say("icons.range", low=low, high=high)


def _count(of_100: float, words: Wording) -> str:
    if round(of_100) == 0:
        return words.say("icons.fewer")
    if round(of_100) > OF:
        return words.say("icons.over")
    return words.say("icons.nearly") if round(of_100) == OF and of_100 < OF else str(round(of_100))


def _mark(sheet: Sheet, x: float, y: float, level: Level, *, harm: bool) -> None:
    """Draw a mark from its upper left corner: a disc for what is hoped for, a square for what may go wrong."""
    half, tone = MARK_MM / 2, INK if harm else DEEP
    fill, edge = {"maybe": (RULE, RULE), "none": (PAPER, RULE)}.get(level, (tone, tone))
    if harm:
        inset = 0.06
        left, top, right, low = x + inset, y + inset, x + MARK_MM - inset, y + MARK_MM - inset
        sheet.area([(left, top), (right, top), (right, low), (left, low)], fill, edge, 0.2)
    else:
        sheet.disc(x + half, y + half, half, fill, edge, 0.2)
    if level in ("best", "maybe"):
        # A point in the middle, so that tone is not all that tells them apart.
        sheet.disc(x + half, y + half, 0.38, PAPER if level == "best" else tone)


def _key(sheet: Sheet, words: Wording, rows: Sequence[IconRow], y: float, width: float) -> float:
    """Draw what the marks mean, each in the shapes in which it stands; return the lower edge of the drawing."""
    used = {(level, row.harm) for row in rows for level in row.levels()}
    x, y = EDGE_MM, y + 1.0
    for level in LEVELS:
        shapes = [harm for harm in (False, True) if (level, harm) in used]
        if not shapes:
            continue
        text = words.say(f"icons.{level}")
        signs = len(shapes) * PITCH_MM
        need = signs + 1.0 + text_width_mm(text, 8)
        if x > EDGE_MM and x + need > width:
            x, y = EDGE_MM, y + KEY_LINE_MM
        for k, harm in enumerate(shapes):
            _mark(sheet, x + k * PITCH_MM, y, level, harm=harm)
        sheet.words(x + signs + 1.0, y + MARK_MM, text, 8, tone=SOFT)
        x += need + 4
    y += KEY_LINE_MM
    for line in _notes(rows, words):
        for part in textwrap.wrap(line, int((width - 2 * EDGE_MM) / text_width_mm("x", 8))):
            sheet.words(EDGE_MM, y + 1.6, part, 8, tone=SOFT)
            y += LINE_MM
    return y + 0.5


def _notes(rows: Sequence[IconRow], words: Wording) -> Iterator[str]:
    yield words.say("icons.each")
    if any(round(value) > OF for row in rows for value in (row.per_100, row.high or 0.0)):
        yield words.say("icons.more_than_once")


def _alternative(rows: Sequence[IconRow], words: Wording) -> Iterator[str]:
    yield words.say("icons.title") + "."
    for harm in (False, True):
        group = [row for row in rows if row.harm is harm]
        if group:
            yield words.say("icons.harms" if harm else "icons.benefits") + "."
        for row in group:
            told = range_words(row, words)
            yield f"{row.name}: {count_words(row, words)}{f' {told}' if told else ''}."
    yield from _notes(rows, words)
