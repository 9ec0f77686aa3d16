"""What must not be overlooked on the sheet of the upper femur."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.worksheets.osteotomy import angles
from pathway.worksheets.osteotomy.frames import STRAIGHT_DEG
from pathway.worksheets.osteotomy.inputs import LIMITS, OsteotomyInputs
from pathway.worksheets.osteotomy.sections_implant import missing, neck_base
from pathway.worksheets.sheet import Warning


def warnings(of: OsteotomyInputs) -> Iterator[Warning]:
    """Yield the warnings, those that stop first."""
    yield from _unreachable(of)
    yield from _blade(of)
    yield from _contact(of)
    yield from _adduction(of)
    yield from _band(of)
    yield from _epiphysis(of)
    yield from _film(of)
    if lacking := missing(of):
        yield Warning(text=f"Shift and length cannot be calculated in full: measure {'; '.join(lacking)}.")


def _unreachable(of: OsteotomyInputs) -> Iterator[Warning]:
    if of.found.reached:
        return
    wanted = of.before.neck_shaft_deg + of.taken.valgus_deg
    yield Warning(
        text=f"With this extension and version no valgus reaches {wanted:.0f} deg; the nearest is"
        f" {of.after.neck_shaft_deg:.0f} deg. Check that flexion and version were measured in the same frame.",
        stop=True,
    )


def _blade(of: OsteotomyInputs) -> Iterator[Warning]:
    wire = of.inputs.maybe("neck_wire_length_mm")
    margin = of.inputs.item("blade_margin_mm")
    if wire is None:
        yield Warning(text="No blade is chosen: measure the neck on the guide wire.")
        return
    if not any(choice.length_mm is not None for choice in of.choices):
        shortest = min((length for choice in of.choices for length in choice.implant.lengths_mm), default=None)
        text = f"Every blade available is too long for a neck of {wire:g} mm with {margin.value:g} mm kept clear"
        text += " of the growth plate"
        text += f" (shortest {shortest:g} mm)." if shortest is not None else "."
        yield Warning(text=text, sources=margin.sources, stop=True)


def _contact(of: OsteotomyInputs) -> Iterator[Warning]:
    placed = neck_base(of)
    if placed is None or of.femur is None:
        return
    rule = of.case.protocol.value("osteotomy_contact_least")
    if placed.contact < of.inputs.number("contact_least"):
        yield Warning(
            text=f"The shift of {placed.size_mm:.0f} mm leaves {100 * placed.contact:.0f} % contact on a bone"
            f" {of.femur.width_mm:g} mm wide: cut higher, correct less, or correct in stages.",
            rule=rule.id,
            sources=rule.sources,
            stop=placed.contact <= 0,
        )


def _adduction(of: OsteotomyInputs) -> Iterator[Warning]:
    """What must be free to be adducted once all is released: a gate, which never makes the correction smaller."""
    change, left = of.change_deg, of.inputs.number("adduction_left_deg")
    told = of.numbers.numbers["adduction_needed_deg"]
    if change <= 0 or not isinstance(told, float):
        return
    needed, after = told, of.inputs.maybe("hip_adduction_after_release_deg")
    must = f"Valgus of {change:.0f} deg with {left:g} left asks for {needed:.0f} deg of adduction"
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
    after = of.after.neck_shaft_deg
    if rule.low is None or rule.high is None or rule.low - 0.05 <= after <= rule.high + 0.05:
        return
    text = f"A neck-shaft angle of {after:.0f} deg lies outside the band of {rule.low:g} to {rule.high:g} deg."
    yield Warning(text=text, rule=rule.id, sources=rule.sources)


def _epiphysis(of: OsteotomyInputs) -> Iterator[Warning]:
    slope = of.inputs.maybe("hilgenreiner_epiphyseal_angle_deg")
    if slope is None:
        return
    after = of.epiphyseal_after_deg(slope)
    missed = [rule for rule in map(of.case.protocol.value, LIMITS) if after > rule.value]
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
