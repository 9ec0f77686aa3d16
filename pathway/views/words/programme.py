"""The programme of a child in words: the path, what usually happens, how firm it is, and what it rests on."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.days import age_words
from pathway.plan.programme import FirstChoice, Programme, ProgrammeStep
from pathway.views.words.paragraphs import Paragraph

_KINDS = {
    "lengthening": "lengthening",
    "growth_arrest": "growth arrest of the other leg",
    "lengthening_with_growth_arrest": "lengthening, with growth arrest of the other leg under the same anaesthetic",
    "nothing": "no operation for length",
}


def programme_paragraphs(found: Programme) -> Iterator[Paragraph]:
    """Yield all that is told of a programme, section by section."""
    yield Paragraph(f"Without operation about {found.predicted_mm / 10:.1f} cm apart at maturity.")
    yield Paragraph("If every step works", heading=True)
    if not found.path:
        yield Paragraph("Nothing is done for length.")
    for step in found.path:
        yield Paragraph(_step(step))
    if found.two_bones:
        yield Paragraph(
            "Femur and tibia are both short and take turns in a fixed order: first the one that is shorter for its "
            "length. Another order was not tried."
        )
    yield Paragraph("What usually happens", heading=True)
    yield from map(Paragraph, _usual(found))
    yield Paragraph("If the first operation had to be fixed now", heading=True)
    yield from map(Paragraph, _firm(found))
    if found.troubles:
        yield Paragraph("Complications, estimated from published groups for a lengthening like the first", heading=True)
        yield from map(Paragraph, found.troubles)
    if found.beyond_counts:
        yield Paragraph(
            "A step of this path lies where published counts do not reach: the line is drawn on from there."
        )
    yield Paragraph("What this rests on (value judgements; a clinic accepts or changes them)", heading=True)
    for weight in found.rests_on:
        yield Paragraph(f"{weight.because} [{weight.id} = {weight.value:g} {weight.unit}]")


def _step(step: ProgrammeStep) -> str:
    share = f" ({step.percent:.0f} % of the {step.bone})" if step.percent is not None else ""
    what = "a growth arrest"
    if step.percent is not None:
        what = "a lengthening of this number, with or without growth arrest,"
    often = f"In {step.of_100} of 100 lives {what} comes near this age and amount, in {step.of_100_ever} at any age."
    head = f"{age_words(step.age_years)}: {_KINDS[step.kind]}, {step.amount_mm / 10:.1f} cm{share}"
    return f"{head}{_plates(step.physes)}. {often}"


def _plates(physes: tuple[str, ...]) -> str:
    return f"; plates closed: {' and '.join(plate.replace('_', ' ') for plate in physes)}" if physes else ""


def _usual(found: Programme) -> Iterator[str]:
    yield (
        "Complications come as often as in published groups with a typical team, arrests work late or in part, some "
        "families or teams stop; later steps are decided again at each visit."
    )
    number = ", ".join(_having(one.of_100, one.lengthenings) for one in found.lengthenings)
    yield f"Of 100 children like this one {number}."
    yield (
        f"On average {found.planned_operations:.1f} planned and {found.unplanned_operations:.1f} unplanned operations "
        f"for length, {found.device_months:.0f} months with a device, {found.months_over:.0f} months with a "
        "difference that is more than the share of the leg that the rules tell of."
    )
    yield (
        f"At maturity {found.within_10_mm_of_100} of 100 have legs within 1 cm, {found.within_20_mm_of_100} within "
        f"2 cm. About {found.harm_of_100} lasting harms in 100 children, in part assumed (see below); those of a "
        "growth arrest are not counted."
    )


def _having(of_100: int, number: int) -> str:
    many = f"{number} lengthening" if number == 1 else f"{number} lengthenings" if number else "no lengthening"
    return f"{of_100} {'has' if of_100 == 1 else 'have'} {many}"


def _firm(found: Programme) -> Iterator[str]:
    if found.waiting is not None and found.waiting > 0:
        yield f"Deciding at each visit: wait. Operating today would score {found.waiting:.2f} worse than waiting."
    elif found.waiting is not None:
        yield f"Waiting until the next visit would score {-found.waiting:.2f} worse than the best operation today."
    if found.other is None:
        yield "No other first operation is allowed."
    else:
        words = {"firm": "Firm", "a matter of weighing": "A matter of weighing"}
        head = words.get(found.firmness, "A close call")
        yield (
            f"{head}, against choices of another kind, or more than a year or 1 cm away: the best of them "
            f"({_choice(found.other)}) scores {found.other.costs_more:.2f} worse."
        )
    yield "In the list a point is the burden of one planned operation; the best scores 0."
    for one in found.choices:
        yield f"{_choice(one)}: {one.costs_more:.2f} worse."


def _choice(one: FirstChoice) -> str:
    if one.kind == "nothing":
        return _KINDS[one.kind]
    return f"{_KINDS[one.kind]} at {age_words(one.age_years)}, {one.amount_mm / 10:.1f} cm{_plates(one.physes)}"
