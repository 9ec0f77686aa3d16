"""Why a programme begins as it does, in words: other ages and amounts as a table, and what would turn it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from pathway.days import age_words
from pathway.plan.programme import AmountsByAge, FirstChoice, Turn, Weight
from pathway.views.words.paragraphs import Paragraph

_AGE, _CELL, _ARREST = 8, 6, 8
NOT_ALLOWED = "-"


def amounts_paragraphs(found: AmountsByAge) -> Iterator[Paragraph]:
    """Yield the table of ages and amounts (at most 58 columns), with what it says above it."""
    yield Paragraph(
        "What a first lengthening at each age and of each amount would cost more than the best first operation, in "
        "planned operations, with or without growth arrest under the same anaesthetic. In the last column the best "
        f"growth arrest alone. {NOT_ALLOWED}: not allowed."
    )
    heads = "".join(f"{mm / 10:>{_CELL}.1f}" for mm in found.amounts_mm)
    yield Paragraph(f"{'cm':<{_AGE}}{heads}{'arrest':>{_ARREST}}", fixed=True)
    for row in found.rows:
        cells = "".join(f"{_cell(cost):>{_CELL}}" for cost in row.costs_more)
        text = f"{age_words(row.age_years):<{_AGE}}{cells}{_cell(row.growth_arrest):>{_ARREST}}"
        yield Paragraph(text, fixed=True)


def _cell(cost: float | None) -> str:
    return NOT_ALLOWED if cost is None else f"{cost:.{2 if cost < 10 else 1}f}"


def turns_words(
    turns: Sequence[Turn], weights: Sequence[Weight], first_words: Callable[[FirstChoice], str]
) -> Iterator[str]:
    """Yield what was tried and, one by one, what brings another first operation than the best one now."""
    yield (
        "Tried one by one: complications as rare and as frequent as published groups allow for a new team, no growth "
        "of complications with the share of the bone and a steep one, each weight lower and higher. Another first "
        "operation is one of another kind, or more than a year or 1 cm away."
    )
    if not turns:
        yield "None of them brings another first operation."
        return
    units = {weight.id: weight.unit for weight in weights}
    for one in turns:
        yield f"{_tried(one, units)}: {first_words(one.first)}{_keeping(one)}."
    if any(one.what == "slope" for one in turns):
        yield (
            "How much complications grow with the share of the bone is not settled by published counts: they do not "
            "decide between these choices."
        )


def _keeping(one: Turn) -> str:
    if one.keeping is None:
        return "; the choice above is not allowed then"
    return f"; keeping to the choice above would then cost {one.keeping:.2f} more"


def _tried(one: Turn, units: dict[str, str]) -> str:
    if one.what == "weight":
        return f"{one.id} x{one.times or 1:g} ({one.value or 0:.3g} {units.get(one.id, '')})"
    if one.what == "slope":
        growth = f"{one.value:g} times as many for 10 % of the bone more"
        return f"Complications {'as many whatever the share of the bone' if one.value == 1 else growth}"
    return f"Complications as {'rare' if one.id == 'low' else 'frequent'} as published groups allow"
