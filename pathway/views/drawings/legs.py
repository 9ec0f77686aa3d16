"""The legs to one scale: now, around each step that changes length, and at the end, with the gap in words.

Where the plan has no lengths, the gap alone is drawn to scale.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from pathway.plan.model import Plan
from pathway.views.drawings.drawing import DEEP, FAINT, INK, PALE, PAPER, SOFT, Drawing, Sheet, text_width_mm
from pathway.views.drawings.growth import WIDE_MM, changes_length
from pathway.views.drawings.leg_pairs import Group, Leg, Pair, groups_of
from pathway.views.words.family_terms import age_of, cm, signed, steps
from pathway.views.words.wording import Wording

SCALE, GAP_SCALE = 1 / 20, 1 / 5
"""Of legs, and of a gap that stands alone."""
RULER_MM, GAP_RULER_MM = 200.0, 20.0
CELL_MM, WIDEST_CELL_MM, EDGE_MM = 17.2, 21.0, 1.0
SIZE_PT, LINE_MM = 8.0, 3.5
UNBROKEN = "\u00a0cm"
HIP_MM, SOLE_MM, STUB_MM = 1.8, 1.3, 12.0


def legs_drawing(plan: Plan, words: Wording, width_mm: float = WIDE_MM) -> Drawing | None:
    """Return the legs to scale, `width_mm` wide; the gap alone where the plan has no lengths; None without both."""
    title = words.say("legs.title")
    if not plan.growth.by_age:
        return _gap_alone(plan, words, width_mm, title) if plan.growth.measured else None
    sheet, y = Sheet(), 0.0
    groups = groups_of(plan)
    numbers = {step.kind: step.number for step in steps(plan)}
    room = width_mm - 2 * EDGE_MM
    rows = tuple(_rows(groups, int(room / CELL_MM)))
    pitch = min(room / max(sum(len(group.pairs) for group in row) for row in rows), WIDEST_CELL_MM)
    for row in rows:
        y = _row(sheet, plan, words, row, numbers, y, pitch)
    y = _key(sheet, plan, words, y, width_mm)
    return sheet.drawing(width_mm, y, title, " ".join(_alternative(plan, words, groups)))


def _rows(groups: Sequence[Group], cells: int) -> Iterator[list[Group]]:
    """Yield the groups in rows of so many pairs at most; the pairs of one sitting stay together."""
    row: list[Group] = []
    for group in groups:
        if row and sum(len(g.pairs) for g in row) + len(group.pairs) > cells:
            yield row
            row = []
        row.append(group)
    yield row


def _row(
    sheet: Sheet, plan: Plan, words: Wording, row: Sequence[Group], numbers: dict[str, int], y: float, pitch: float
) -> float:
    """Draw one row; return its lower edge."""
    headers = [_header(plan, words, group, pitch * len(group.pairs)) for group in row]
    heads = [LINE_MM * len(lines) + HIP_MM for lines in headers]
    ground = y + max(head + _high(group) for group, head in zip(row, heads, strict=True)) + SOLE_MM
    below, x, ages = ground, EDGE_MM, _ages(words, row, pitch)
    for group, lines, head in zip(row, headers, heads, strict=True):
        _head(sheet, group, lines, numbers, x, ground - SOLE_MM - _high(group) - head, pitch * len(group.pairs))
        for k, pair in enumerate(group.pairs):
            middle = x + (k + 0.5) * pitch
            _pair(sheet, plan, pair, middle, ground)
            below = max(below, _under(sheet, words, pair, ages[pair.age_years], middle, ground))
        if len(group.pairs) > 1:
            _arrow(sheet, x + pitch, ground - SOLE_MM - 4)
        x += pitch * len(group.pairs)
    return below + 3.0


def _high(group: Group) -> float:
    return SCALE * max(max(pair.long.whole_mm, pair.treated.whole_mm) for pair in group.pairs)


def _header(plan: Plan, words: Wording, group: Group, wide: float) -> list[str]:
    """Return what is done, one line for each operation, wrapped to the room beside its number."""
    if not group.steps:
        bare = group.pairs[0].when == "end" and not changes_length(plan)
        return _wrapped(words.say("growth.natural"), wide) if bare else []
    lines: list[str] = []
    for stage in group.steps:
        name = "legs.slows" if stage.physes else "legs.gains"
        told = _wrapped(words.say(name, cm=cm(stage.amount_mm or 0.0, words)), wide - 5.2)
        lines += [f"\0{stage.kind}\0{told[0]}", *told[1:]]
    return lines


def _head(
    sheet: Sheet, group: Group, lines: Sequence[str], numbers: dict[str, int], x: float, y: float, wide: float
) -> None:
    for k, line in enumerate(lines):
        foot = y + (k + 1) * LINE_MM - 0.4
        _, kind, text = line.split("\0") if line.startswith("\0") else ("", "", line)
        if not group.steps:
            sheet.words(x + wide / 2, foot, text, SIZE_PT, "middle", SOFT)
            continue
        if kind in numbers:
            sheet.disc(x + 2.4, foot - 1.0, 1.65, PAPER, INK)
            sheet.words(x + 2.4, foot - 0.1, str(numbers[kind]), 7, "middle", strong=True)
        sheet.words(x + 5.0, foot, text, SIZE_PT, strong=True)


def _pair(sheet: Sheet, plan: Plan, pair: Pair, middle: float, ground: float) -> None:
    """Draw both legs from one hip line, the longer one on the ground, the other on a block as high as the gap."""
    longest = max(pair.long.whole_mm, pair.treated.whole_mm)
    hips = ground - SOLE_MM - SCALE * longest
    wide = min(max(0.075 * longest * SCALE, 1.5), 3.2)
    apart = 0.85 * wide + 0.5
    sheet.line(middle - 6.6, ground, middle + 6.6, ground, SOFT, 0.25)
    sheet.bar(middle - apart - 0.6 * wide, hips - 0.9, 2 * apart + 1.2 * wide, 1.8, FAINT, SOFT)
    own_side = 1 if plan.child.affected_side == "right" else -1
    for leg, side, fill, edge in ((pair.long, -own_side, PALE, SOFT), (pair.treated, own_side, DEEP, DEEP)):
        _leg_shape(sheet, leg, middle + side * apart, hips, wide, side, fill, edge)
        gap = SCALE * (longest - leg.whole_mm)
        if gap > 0.15:
            left, across = _foot(middle + side * apart, wide, side)
            _block(sheet, left, ground - gap, across, gap)


def _leg_shape(sheet: Sheet, leg: Leg, x: float, hips: float, wide: float, side: int, fill: str, edge: str) -> None:
    ankle = hips + SCALE * leg.whole_mm
    if leg.thigh_mm is None:
        sheet.bar(x - wide / 2, hips, wide, ankle - hips, fill, edge)
    else:
        knee = hips + SCALE * leg.thigh_mm
        sheet.bar(x - wide / 2, hips, wide, knee - hips, fill, edge)
        sheet.bar(x - 0.38 * wide, knee, 0.76 * wide, ankle - knee, fill, edge)
        sheet.disc(x, knee, 0.34 * wide, PAPER, edge, 0.3)
    left, across = _foot(x, wide, side)
    sheet.bar(left, ankle, across, SOLE_MM, fill, edge)


def _foot(x: float, wide: float, side: int) -> tuple[float, float]:
    """Return the left edge and the width of a foot that points outwards."""
    toes, shin = 0.9 * wide, 0.76 * wide
    return x - shin / 2 - (toes if side < 0 else 0.0), shin + toes


def _block(sheet: Sheet, left: float, top: float, wide: float, high: float) -> None:
    """Draw the gap as a block under a foot, with lines across so that it is no part of the leg in grey."""
    right = left + wide
    sheet.area([(left, top), (right, top), (right, top + high), (left, top + high)], PAPER, INK, 0.25)
    y = top + 0.9
    while y < top + high - 0.3:
        sheet.line(left, y, right, y, INK, 0.2)
        y += 0.9


def _arrow(sheet: Sheet, x: float, y: float) -> None:
    sheet.line(x - 1.2, y, x + 1.0, y, SOFT, 0.35)
    sheet.area([(x + 0.3, y - 0.8), (x + 1.5, y), (x + 0.3, y + 0.8)], SOFT)


def _ages(words: Wording, row: Sequence[Group], pitch: float) -> dict[float, list[str]]:
    """Return the lines in which each age of a row is told: all in one, or all broken where one is too long for it."""
    told = {pair.age_years: age_of(pair.age_years, words) for group in row for pair in group.pairs}
    fits = all(text_width_mm(text, SIZE_PT) < pitch - 0.5 for text in told.values())
    return {age: [text] if fits else text.rsplit(" ", 1) for age, text in told.items()}


def _under(sheet: Sheet, words: Wording, pair: Pair, age: Sequence[str], middle: float, ground: float) -> float:
    """Write when, the age and the gap in words under a pair; return the lower edge."""
    y = ground + 0.6
    lines = [
        *((line, SOFT, False) for line in _wrapped(words.say(f"legs.{pair.when}"), CELL_MM - 1)),
        *((line, SOFT, False) for line in age),
        *((line, INK, True) for line in _wrapped(signed(pair.gap_mm, words), CELL_MM - 1)),
    ]
    for text, tone, strong in lines:
        y += LINE_MM
        sheet.words(middle, y, text, SIZE_PT, "middle", tone, strong=strong)
    return y


def _wrapped(text: str, wide: float) -> list[str]:
    """Return text in lines of so many mm; a number stays with its unit."""
    letters = max(4, int(wide / text_width_mm("x", SIZE_PT)))
    lines = textwrap.wrap(text.replace(" cm", UNBROKEN), letters, break_long_words=False)
    return [line.replace(UNBROKEN, " cm") for line in lines] or [""]


def _key(sheet: Sheet, plan: Plan, words: Wording, y: float, width: float) -> float:
    """Draw what the signs mean and the ruler; return the lower edge."""
    ruler = ("ruler", words.say("legs.ruler", cm=f"{RULER_MM / 10:.0f} cm"))
    items = (*_sides(plan, words), ("block", words.say("legs.block")), ruler)
    return _signs(sheet, items, SCALE * RULER_MM, y, width)


def _sides(plan: Plan, words: Wording) -> tuple[tuple[str, str], ...]:
    treated = words.say("legs.treated", side=words.say(plan.child.affected_side))
    return ("treated", treated), ("other", words.say("legs.other"))


def _signs(sheet: Sheet, items: Sequence[tuple[str, str]], ruler_mm: float, y: float, width: float) -> float:
    x, y = EDGE_MM, y + 3.5
    for sign, text in items:
        wide = ruler_mm if sign == "ruler" else 4.4
        need = wide + 1.4 + text_width_mm(text, SIZE_PT)
        if x > EDGE_MM and x + need > width:
            x, y = EDGE_MM, y + 4.8
        if sign == "ruler":
            sheet.line(x, y - 1, x + wide, y - 1, INK, 0.4)
            for at in (x, x + wide):
                sheet.line(at, y - 1.9, at, y - 0.1, INK, 0.4)
        elif sign == "block":
            _block(sheet, x, y - 2.5, wide, 2.8)
        else:
            fill, edge = (DEEP, DEEP) if sign == "treated" else (PALE, SOFT)
            sheet.bar(x, y - 2.4, 4.4, 2.8, fill, edge)
        sheet.words(x + wide + 1.4, y, text, SIZE_PT, tone=SOFT)
        x += need + 4
    return y + 2


def _gap_alone(plan: Plan, words: Wording, width: float, title: str) -> Drawing:
    """Draw the lower ends of two legs with the gap as last measured to scale: how long the legs are is not known."""
    last = plan.growth.measured[-1]
    gap, both = last.discrepancy_mm, plan.child.affected_side == "both"
    sheet, middle, top = Sheet(), EDGE_MM + 14.0, 2.0
    high = GAP_SCALE * abs(gap)
    ground = top + STUB_MM + high + SOLE_MM
    own_side = 1 if plan.child.affected_side == "right" else -1
    sheet.line(middle - 10, ground, middle + 10, ground, SOFT, 0.25)
    for side, shorter in ((own_side, gap >= 0), (-own_side, gap < 0)):
        x = middle + side * 4.0
        fill, edge = (DEEP, DEEP) if side == own_side and not both else (PALE, SOFT)
        foot = ground - SOLE_MM - (high if shorter else 0.0)
        left, right = x - 1.6, x + 1.6
        # A broken upper edge says that the leg goes on.
        torn = [(left, top), (left + 0.8, top + 1.2), (x, top), (right - 0.8, top + 1.2), (right, top)]
        sheet.area([*torn, (right, foot), (left, foot)], fill, edge, 0.3)
        sheet.bar(left - (3.0 if side < 0 else 0.0), foot, 6.2, SOLE_MM, fill, edge)
        if shorter and high > 0.15:
            _block(sheet, left - (3.0 if side < 0 else 0.0), foot + SOLE_MM, 6.2, high)
    beside = [*_wrapped(_gap_words(plan, words), width - 34), *_wrapped(words.say("legs.gap_only"), width - 34)]
    at = age_of(last.age_years, words)
    sheet.words(32.0, top + LINE_MM, at, SIZE_PT, tone=SOFT)
    for k, line in enumerate(beside, start=2):
        sheet.words(32.0, top + k * LINE_MM, line, SIZE_PT, strong=k == 2)
    ruler = ("ruler", words.say("legs.ruler", cm=f"{GAP_RULER_MM / 10:.0f} cm"))
    items = (*(() if both else _sides(plan, words)), ("block", words.say("legs.block")), ruler)
    y = _signs(sheet, items, GAP_SCALE * GAP_RULER_MM, max(ground, top + (len(beside) + 1) * LINE_MM) + 2, width)
    told = f"{title}. {at}: {_gap_words(plan, words)}. {words.say('legs.gap_only')}"
    return sheet.drawing(width, y, title, told)


def _gap_words(plan: Plan, words: Wording) -> str:
    gap = plan.growth.measured[-1].discrepancy_mm
    if plan.child.affected_side == "both":
        return words.say("legs.apart", cm=cm(abs(gap), words))
    return signed(gap, words)


def _alternative(plan: Plan, words: Wording, groups: Sequence[Group]) -> Iterator[str]:
    yield words.say("legs.title") + "."
    for group in groups:
        for pair in group.pairs:
            when = f"{words.say(f'legs.{pair.when}')}, {age_of(pair.age_years, words)}"
            yield f"{when[:1].upper()}{when[1:]}: {signed(pair.gap_mm, words)}."
            if pair.when in ("before", "start"):
                for stage in group.steps:
                    name = "legs.slows" if stage.physes else "legs.gains"
                    yield f"{words.say(name, cm=cm(stage.amount_mm or 0.0, words))}."
