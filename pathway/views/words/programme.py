"""The programme of a child in words: the path, what usually happens, how firm it is, and what it rests on."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.days import age_words
from pathway.plan.programme import FirstChoice, Programme, ProgrammeStep
from pathway.views.words.paragraphs import Paragraph

_KINDS = {
    "lengthening": "lengthening",
    "growth_arrest": "growth arrest of the other leg",
    "lengthening_with_growth_arrest": "lengthening, with growth arrest of the other leg in the same sitting",
    "nothing": "no operation for length",
}


def programme_paragraphs(found: Programme) -> Iterator[Paragraph]:
    """Yield all that is told of a programme, section by section."""
    yield Paragraph("If every step works", heading=True)
    if not found.path:
        yield Paragraph("Nothing is done for length.")
    for step in found.path:
        yield Paragraph(_step(step))
    if found.two_bones:
        yield Paragraph("Thigh and shin are both short: they are worked out as one bone of their mean length.")
    yield Paragraph("What usually happens", heading=True)
    yield from map(Paragraph, _usual(found))
    yield Paragraph("How firm the first operation is", heading=True)
    yield from map(Paragraph, _firm(found))
    if found.troubles:
        yield Paragraph("What went wrong in published groups, in a lengthening like the first", heading=True)
        yield from map(Paragraph, found.troubles)
    if found.beyond_counts:
        yield Paragraph(
            "A step of this path lies where published counts do not reach: the rates are drawn on from there."
        )
    yield Paragraph("What this rests on (value judgements; a clinic accepts or changes them)", heading=True)
    for weight in found.rests_on:
        yield Paragraph(f"{weight.because} [{weight.id} = {weight.value:g} {weight.unit}]")


def _step(step: ProgrammeStep) -> str:
    share = f" ({step.percent:.0f} % of the bone)" if step.percent is not None else ""
    often = f"{step.of_100} of 100 have it near this age and amount, {step.of_100_ever} at all"
    return f"{age_words(step.age_years)}: {_KINDS[step.kind]}, {step.amount_mm / 10:.1f} cm{share}; {often}."


def _usual(found: Programme) -> Iterator[str]:
    yield (
        "Troubles come as often as in published groups with a typical team, arrests work late or in part, some "
        "families or teams stop; later steps are decided again at each visit."
    )
    number = ", ".join(f"{one.of_100} have {_lengthenings(one.lengthenings)}" for one in found.lengthenings)
    yield f"Of 100 children like this one {number}."
    yield (
        f"On average {found.planned_operations:.1f} planned and {found.unplanned_operations:.1f} unplanned operations "
        f"for length, {found.device_months:.0f} months with a device."
    )
    yield (
        f"At maturity {found.within_10_mm_of_100} of 100 have legs within 1 cm, {found.within_20_mm_of_100} within "
        f"2 cm; some lasting harm in about {found.harm_of_100} of 100."
    )


def _lengthenings(number: int) -> str:
    return f"{number} lengthening" if number == 1 else f"{number or 'no'} lengthenings"


def _firm(found: Programme) -> Iterator[str]:
    if found.other is None:
        yield "No other first operation is allowed."
    else:
        words = {"firm": "This is firm", "a matter of weighing": "This is a matter of weighing"}
        head = words.get(found.firmness, "This is a close call")
        yield (
            f"{head}: the best other first operation ({_choice(found.other)}) costs {found.other.costs_more:.2f} "
            "planned operations more."
        )
    if found.waiting is not None:
        change = "saves" if found.waiting > 0 else "costs"
        cost = f"{abs(found.waiting):.2f} planned operations"
        yield f"Waiting until the next visit {change} {cost} against operating today."
    for one in found.choices:
        yield f"{_choice(one)}: {one.costs_more:+.2f} planned operations."


def _choice(one: FirstChoice) -> str:
    if one.kind == "nothing":
        return _KINDS[one.kind]
    return f"{_KINDS[one.kind]} at {age_words(one.age_years)}, {one.amount_mm / 10:.1f} cm"
