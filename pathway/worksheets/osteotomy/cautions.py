"""What must not be overlooked on the sheet of the upper femur."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from pathway.upper_femur.fits import fits
from pathway.upper_femur.model import solved
from pathway.worksheets.osteotomy import angles, implant
from pathway.worksheets.osteotomy.frames import STRAIGHT_DEG
from pathway.worksheets.osteotomy.inputs import LIMITS, OsteotomyInputs
from pathway.worksheets.osteotomy.sections_implant import longest_mm, missing
from pathway.worksheets.osteotomy.version import UNKNOWN
from pathway.worksheets.sheet import Warning


def warnings(of: OsteotomyInputs) -> Iterator[Warning]:
    """Yield the warnings, those that stop first."""
    yield from _side(of)
    yield from _version(of)
    yield from _unreachable(of)
    yield from _blade(of)
    yield from _contact(of)
    yield from _adduction(of)
    yield from _band(of)
    yield from _epiphysis(of)
    yield from _film(of)
    if lacking := missing(of):
        yield Warning(text=f"Shift and length cannot be calculated in full: measure {'; '.join(lacking)}.")


def _side(of: OsteotomyInputs) -> Iterator[Warning]:
    if of.side != of.case.side:
        text = f"WRONG SIDE? The record has the {of.case.side} leg to be treated; {of.side} was set by hand."
        yield Warning(text=text, stop=True)


def _version(of: OsteotomyInputs) -> Iterator[Warning]:
    if of.version_between is None:
        return
    low, high = of.version_between
    rule = of.case.protocol.value(UNKNOWN)
    text = (
        f"Version was not measured: {of.before.version_deg:g} deg stands in, so that no rotation is planned; the ranges"
    )
    text += f" hold what it would be from {low:g} to {high:g} deg. Measure it before this is used."
    yield Warning(text=text, rule=rule.id, sources=rule.sources, stop=True)


def _unreachable(of: OsteotomyInputs) -> Iterator[Warning]:
    found = of.model.found
    if "no_correction_reaches" not in found.refused:
        return
    fit = fits(of.model.bone, of.model.plan, found)["no_correction_reaches"]
    nearest = "" if fit is None else f"; the nearest is {fit.plan.neck_shaft_deg:.0f} deg"
    yield Warning(
        text=f"With this extension and version no valgus reaches {of.aim_deg:.0f} deg{nearest}. Check that flexion and"
        " version were measured in the same frame.",
        stop=True,
    )


def _blade(of: OsteotomyInputs) -> Iterator[Warning]:
    if of.inputs.maybe("neck_wire_length_mm") is None:
        yield Warning(text="No blade is chosen: measure the neck on the guide wire.")
        return
    most, margin = longest_mm(of), of.inputs.item("blade_margin_mm")
    lengths = {length for item in of.implants for length in item.lengths_mm}
    if most is None or not lengths or min(lengths) <= most:
        return
    text = f"Every blade available is too long: {max(most, 0.0):.1f} mm fit along the planned wire with"
    text += f" {margin.value:g} mm kept clear of the growth plate (shortest {min(lengths):g} mm)."
    text += f" What would fit: {_would_fit(of, most)}."
    yield Warning(text=text, sources=margin.sources, stop=True)


def _would_fit(of: OsteotomyInputs, most_mm: float) -> str:
    """Return the implants at hand of which a blade fits with a wire of their own, else how short a blade must be."""
    plan = replace(of.model.plan, found_wire=None, blade_mm=None)
    able = []
    for item in of.implants:
        there = solved(of.model.bone, replace(plan, implant_deg=item.angle_deg))
        longest = of.model.told("blade_mm", there)
        length = None if longest is None or there.refused else implant.fitting_length_mm(item.lengths_mm, longest)
        if length is not None:
            able.append(f"{item.label} with a blade of {length:g} mm along a wire of its own")
    if able:
        return " or ".join(able)
    return f"a blade of {max(most_mm, 0.0):.1f} mm or less; of no other implant available one does"


def _contact(of: OsteotomyInputs) -> Iterator[Warning]:
    contact, shifted = of.told("contact_share"), of.told("plate_shift_mm")
    if contact is None or shifted is None:
        return
    rule = of.case.protocol.value("osteotomy_contact_least")
    if contact < of.inputs.number("contact_least"):
        yield Warning(
            text=f"The shift of {abs(shifted):.0f} mm leaves {100 * contact:.0f} % overlap of the cut faces on a bone"
            f" {of.model.bone.shaft_width_mm:g} mm wide: cut higher, correct less, or correct in stages.",
            rule=rule.id,
            sources=rule.sources,
            stop=contact <= 0,
        )


def _adduction(of: OsteotomyInputs) -> Iterator[Warning]:
    """What must be free to be adducted once all is released: a gate, which never makes the correction smaller."""
    needed, valgus = of.told("adduction_needed_deg"), of.model.told("front_valgus_deg")
    if needed is None or valgus is None or valgus <= 0:
        return
    left, after = of.inputs.number("adduction_left_deg"), of.inputs.maybe("hip_adduction_after_release_deg")
    must = f"Valgus of {valgus:.0f} deg in the front view with {left:g} left asks for {needed:.0f} deg of adduction"
    if after is not None:
        if after < needed:
            text = f"{must}; after the release there are {after:g}: release more, or correct less."
            yield Warning(text=text, stop=True)
        return
    room = "it is not known before the release" if of.adduction_deg is None else f"there are {of.adduction_deg:g} now"
    if of.adduction_deg is None or of.adduction_deg < needed:
        yield Warning(text=f"{must}, free on the table after the release; {room}.")


def _band(of: OsteotomyInputs) -> Iterator[Warning]:
    rule = of.case.protocol.value("osteotomy_neck_shaft_target_deg")
    after = of.told("neck_shaft_after_deg")
    if after is None or rule.low is None or rule.high is None or rule.low - 0.05 <= after <= rule.high + 0.05:
        return
    text = f"A neck-shaft angle of {after:.0f} deg lies outside the band of {rule.low:g} to {rule.high:g} deg."
    yield Warning(text=text, rule=rule.id, sources=rule.sources)


def _epiphysis(of: OsteotomyInputs) -> Iterator[Warning]:
    after = of.told("epiphyseal_after_deg")
    if after is None:
        return
    missed = [rule for rule in map(of.case.protocol.value, LIMITS) if after > rule.value + 1e-6]
    if missed:
        limits = ", ".join(f"{rule.value:g}" for rule in missed)
        sources = tuple(dict.fromkeys(id for rule in missed for id in rule.sources))
        yield Warning(text=f"An epiphyseal angle of {after:.0f} deg stays above {limits} deg.", sources=sources)


def _film(of: OsteotomyInputs) -> Iterator[Warning]:
    error = of.case.protocol.value("neck_shaft_observers_deg")
    known, shown = of.inputs.maybe("neck_shaft_angle_deg"), of.inputs.maybe("apparent_neck_shaft_angle_deg")
    if known is not None and shown is not None:
        turned, flexed = of.inputs.maybe("film_leg_rotation_deg") or 0.0, of.inputs.maybe("film_hip_flexion_deg") or 0.0
        expected = angles.apparent_deg(of.before, turned, flexed, of.side)
        if abs(expected - shown) > error.value:
            text = f"A neck of {of.before.neck_shaft_deg:.0f} deg should show {expected:.0f} deg on that film; it shows"
            text += f" {shown:g}: more than the difference between observers. Check version and position."
            yield Warning(text=text, sources=error.sources)
    film = angles.apparent_deg(of.before, side=of.side)
    if abs(film - of.before.neck_shaft_deg) > error.value:
        text = f"A front film with the kneecap to the front shows {film:.0f} deg, the true angle is"
        text += f" {of.before.neck_shaft_deg:.0f}: read it with the neck in the plane of the film."
        yield Warning(text=text, sources=error.sources)
    if of.before.neck_shaft_deg >= STRAIGHT_DEG - error.value:
        yield Warning(text="The neck lies in line with the shaft: version cannot be determined.", sources=error.sources)
