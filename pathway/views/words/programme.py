"""The programme of a child in words: the path, what usually happens, how firm it is, and what it rests on."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.days import age_words
from pathway.plan.programme import FirstChoice, Programme, ProgrammeStep, SetInForce, Weight
from pathway.protocol.words import plain_words
from pathway.views.words.paragraphs import Paragraph
from pathway.views.words.programme_why import amounts_paragraphs, turns_words

_KINDS = {
    "lengthening": "lengthening",
    "growth_arrest": "growth arrest of the other leg",
    "lengthening_with_growth_arrest": "lengthening, with growth arrest of the other leg under the same anaesthetic",
    "nothing": "no operation for length",
}


def programme_paragraphs(found: Programme) -> Iterator[Paragraph]:
    """Yield all that is told of a programme, section by section."""
    yield Paragraph(f"Without operation about {found.predicted_mm / 10:.1f} cm apart at maturity.")
    yield Paragraph("The path if every step works, and how often it is followed", heading=True)
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
    if found.amounts is not None:
        yield Paragraph("Why this age and amount", heading=True)
        yield from amounts_paragraphs(found.amounts)
    if found.turns is not None:
        yield Paragraph("What would turn it", heading=True)
        yield from map(Paragraph, turns_words(found.turns, found.rests_on, first_words))
    if found.troubles:
        yield Paragraph("Complications, estimated from published groups for a lengthening like the first", heading=True)
        yield from map(Paragraph, found.troubles)
    if found.beyond_counts:
        yield Paragraph(
            "A step of this path lies where published counts do not reach: the line is drawn on from there."
        )
    yield Paragraph("What this rests on (value judgements; a clinic accepts or changes them)", heading=True)
    for one in found.sets:
        yield Paragraph(_set(one))
    for weight in found.rests_on:
        yield Paragraph(_weight(weight))


def _step(step: ProgrammeStep) -> str:
    share = f" ({step.percent:.0f} % of the {step.bone})" if step.percent is not None else ""
    what = "a growth arrest"
    if step.percent is not None:
        what = "a lengthening of this number, with or without growth arrest,"
    often = f"In {step.of_100} of 100 children {what} comes near this age and amount, in {step.of_100_ever} at any age."
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
        f"difference above {found.over_percent:g} % of the longer leg."
    )
    yield (
        f"At maturity {found.within_10_mm_of_100} of 100 have legs within 1 cm, {found.within_20_mm_of_100} within "
        f"2 cm. About {found.harm_of_100} lasting harms in 100 children, in part assumed (see below); those of a "
        "growth arrest are not counted."
    )


def _having(of_100: int, number: int) -> str:
    many = f"{number} lengthening" if number == 1 else f"{number} lengthenings" if number else "no lengthening"
    return f"{of_100} {'has' if of_100 == 1 else 'have'} {many}"


def _set(one: SetInForce) -> str:
    if one.chosen_by == "clinic":
        return f"Chosen by the clinic for every child: {plain_words(one.id)}. What it changes is said below."
    return f"Chosen by the family: {plain_words(one.id)} (“{one.family_words}”). What it changes is said below."


def _weight(weight: Weight) -> str:
    said = f"{weight.because} [{weight.id} = {weight.value:g} {weight.unit}]"
    if not weight.changed_by:
        return said
    by = " and ".join(f"x{one.times:g} by {plain_words(one.by)}" for one in weight.changed_by)
    return (
        f"In force: {weight.id} = {weight.value:g} {weight.unit}, {by}. In the rules it is {weight.in_rules:g}: "
        f"{weight.because}"
    )


def _firm(found: Programme) -> Iterator[str]:
    months = f"{found.next_visit_months:g} months"
    if found.waiting is not None and found.waiting > 0:
        yield (
            f"Deciding at each visit: wait for the next one. Operating today would cost {found.waiting:.2f} planned "
            f"operations more than waiting {months}."
        )
    elif found.waiting is not None:
        yield (
            f"Waiting {months}, until the next visit, would cost {-found.waiting:.2f} planned operations more than "
            "the best operation today."
        )
    if found.turned:
        yield "A close call: a risk or a weight within its range brings another first operation (see below)."
    if found.other is None:
        yield "No other first operation is allowed."
    else:
        words = {
            "firm": "Clear by these weights",
            "a matter of weighing": "A matter of weighing",
            "close call": "A close call",
        }
        head = "With risks and weights as they are" if found.turned else words[found.firmness]
        yield (
            f"{head}, against choices of another kind, or more than a year or 1 cm away: the best of them "
            f"({first_words(found.other)}) costs {found.other.costs_more:.2f} more."
        )
    yield "The cheapest, each kind and age once; 1 is the burden of one planned operation:"
    for one in found.choices:
        yield f"{first_words(one)}: {one.costs_more:.2f} more."


def first_words(one: FirstChoice) -> str:
    """Return a first operation in words: what, at which age, how much."""
    if one.kind == "nothing":
        return _KINDS[one.kind]
    return f"{_KINDS[one.kind]} at {age_words(one.age_years)}, {one.amount_mm / 10:.1f} cm{_plates(one.physes)}"
