"""The page for the table of a worksheet's inputs: what is still to be measured, or the page itself."""

from __future__ import annotations

from collections.abc import Mapping

from pathway.views.documents.document import Document
from pathway.views.documents.theatre import Head, theatre
from pathway.views.words.caution import INVENTED, is_invented
from pathway.worksheets.osteotomy.inputs import OsteotomyInputs
from pathway.worksheets.osteotomy.numbers import lacking
from pathway.worksheets.sheet import CHECK_THE_RADIOGRAPH, NumberRange


def missing_sizes(given: OsteotomyInputs) -> tuple[tuple[str, str], ...]:
    """Return name and label of each input without which there is no page for the table."""
    return tuple((name, given.inputs.item(name).label) for name in lacking(given.model))


def page_of(given: OsteotomyInputs, *, drawn: bool = True, ranges: Mapping[str, NumberRange] | None = None) -> Document:
    """Return the page of a sheet's inputs, of a refused plan the reasons; without `drawn` it has no figures.

    `ranges` are those of the sheet where it was made of the same inputs; they are worked out else.
    """
    case, of = given.case, given.model
    head = next(rule.text for rule in case.protocol.cautions if rule.head)
    invented = (INVENTED,) if is_invented(case.record.child.note) else ()
    told = given.numbers.ranges if ranges is None else ranges
    between = {name: (ends.low, ends.high) for name, ends in told.items()}
    page = Head(case.record.child.id, case.on, (head, CHECK_THE_RADIOGRAPH, *invented))
    at_hand = given.inputs.numbers("implants_deg")
    return theatre(of.bone, of.plan, of.found, between, page, at_hand, drawn=drawn)
