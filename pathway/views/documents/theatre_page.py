"""The page for the table of a worksheet's inputs: what is still to be measured, or the page itself."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from pathway.upper_femur.model import solved
from pathway.views.documents.document import Document
from pathway.views.documents.theatre import Head, theatre
from pathway.views.words.caution import INVENTED, is_invented
from pathway.views.words.sheet_on_screen import labels_of, plain
from pathway.worksheets.osteotomy.cautions import warnings
from pathway.worksheets.osteotomy.inputs import OsteotomyInputs
from pathway.worksheets.osteotomy.numbers import lacking
from pathway.worksheets.sheet import CHECK_THE_RADIOGRAPH, Input, NumberRange

FILM = ("apparent_neck_shaft_angle_deg", "film_hip_flexion_deg", "film_leg_rotation_deg")
"""What counts only where the neck-shaft angle was worked out of a film."""
SIZES_OF_THE_BONE = (
    "neck_shaft_angle_deg",
    *FILM,
    "femoral_version_deg",
    "proximal_femur_flexion_deg",
    "neck_wire_length_mm",
    "femoral_neck_length_mm",
    "femoral_shaft_width_mm",
    "femur_length_mm",
    "neck_width_mm",
    "neck_depth_mm",
)


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
    labels = labels_of(given.inputs.items)
    told_of = tuple((plain(warning.text, labels), warning.stop) for warning in warnings(given))
    page = Head(
        case.record.child.id,
        case.on,
        (head, CHECK_THE_RADIOGRAPH, *invented),
        stops=tuple(text for text, stop in told_of if stop),
        notes=(*_wire_as_found(given), *_old(given), *(text for text, stop in told_of if not stop)),
        assumed=tuple(_assumed(given)),
        sizes=tuple(_sizes(given)),
        done_on=case.done_on,
        measured=all(item.origin == "visit" for item in _used(given)),
        shortest_blade_mm=min((length for item in given.implants for length in item.lengths_mm), default=None),
    )
    at_hand = given.inputs.numbers("implants_deg")
    return theatre(of.bone, of.plan, of.found, between, page, at_hand, drawn=drawn)


def _used(given: OsteotomyInputs) -> Iterator[Input]:
    """Yield the inputs that give the size and shape of the bone, those that are known."""
    for item in given.inputs.items:
        film = item.name in FILM and not given.worked_out
        if item.name in SIZES_OF_THE_BONE and item.value is not None and not film:
            yield item


def _sizes(given: OsteotomyInputs) -> Iterator[tuple[str, str, str]]:
    for item in _used(given):
        label = f"{item.label[:1].upper()}{item.label[1:]}"
        yield label, f"{item.value:g} {item.unit}" if isinstance(item.value, float) else str(item.value), _by(item)


def _by(item: Input) -> str:
    """Return who gave the size: the film of a day, the hand, another size; what is out of date says so."""
    if item.stands_in:
        return f"not measured: as the {item.stands_in}"
    if item.origin == "visit":
        old = ", out of date" if item.note.startswith("out of date") else ""
        return f"measured on {item.measured_on}{old}" if item.measured_on else f"measured{old}"
    return "set by hand" if item.origin == "by_hand" else "assumed"


def _wire_as_found(given: OsteotomyInputs) -> Iterator[str]:
    """Yield that the page is of a wire as it lies, beside the one that was planned."""
    of = given.model
    if of.plan.found_wire is None:
        return
    planned = solved(of.bone, replace(of.plan, found_wire=None)).settings
    beside = "" if planned is None else f"; planned {_wire(planned.wire_front_deg, planned.wire_side_deg)}"
    yield f"WIRE AS FOUND, not as planned: {_wire(*of.plan.found_wire)}{beside}. Destroy the page of the planned wire."


def _wire(front_deg: float, side_deg: float) -> str:
    return f"{front_deg:.1f} deg in front, {abs(side_deg):.1f} deg {'forward' if side_deg > 0 else 'back'} at the side"


def _old(given: OsteotomyInputs) -> Iterator[str]:
    """Yield the values that no longer hold, such as those from before another operation of this bone."""
    for item in given.inputs.items:
        if item.note.startswith("out of date") and item.value is not None:
            measured = "" if item.measured_on is None else f" of {item.measured_on}"
            yield f"{item.label}, {item.value}{f' {item.unit}' if item.unit else ''}{measured}: {item.note}."


def _assumed(given: OsteotomyInputs) -> Iterator[str]:
    """Yield what was not measured and is assumed."""
    for item in given.inputs.items:
        if item.name == "proximal_femur_flexion_deg" and item.origin == "none":
            yield "no flexion of the upper femur"
    sizes = ("blade_width_mm", "blade_thickness_mm")
    if all(not given.inputs.maybe(name) for name in sizes):
        yield "a blade without width and thickness, so that every margin is that of a line: enter both on the worksheet"
