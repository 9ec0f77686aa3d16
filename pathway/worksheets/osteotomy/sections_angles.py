"""The parts of the sheet that speak of angles: the neck now, how much, the correction, what the film will show."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.upper_femur.model import turn_of
from pathway.upper_femur.targets import angles_for
from pathway.worksheets.osteotomy import angles, correction
from pathway.worksheets.osteotomy.frames import medial
from pathway.worksheets.osteotomy.inputs import LIMITS, OsteotomyInputs
from pathway.worksheets.sheet import Cell, Column, Line, Section, Table


def sections(of: OsteotomyInputs) -> Iterator[Section]:
    """Yield the sections in reading order."""
    yield _now(of)
    yield _how_much(of)
    yield _correction(of)
    yield _film(of)


def direction(degrees: float, forward: str, backward: str, neither: str = "none") -> str:
    """Return which of two opposite words a signed angle or length stands for; a third for 0."""
    if abs(degrees) < 0.05:
        return neither
    return forward if degrees > 0 else backward


def _band(of: OsteotomyInputs, value: float) -> tuple[float, float]:
    error = of.case.protocol.number("neck_shaft_observers_deg")
    return value - error, value + error


def _now(of: OsteotomyInputs) -> Section:
    film = angles.apparent_deg(of.before, side=of.side)
    how = "calculated from the angle on the film and the position of the leg" if of.worked_out else "as entered"
    sources = of.case.protocol.value("neck_shaft_observers_deg").sources
    now = of.before.neck_shaft_deg
    lines = [
        Line(label="true neck-shaft angle", value=now, unit="deg", spread=_band(of, now), note=how, sources=sources),
        Line(label="version", value=of.before.version_deg, unit="deg", note="anteversion positive"),
        Line(
            label="neck out of the frontal plane",
            value=angles.inclination_deg(of.before),
            unit="deg",
            note="forward is positive; this is not the version",
        ),
        Line(label="a front film shows", value=film, unit="deg", note="kneecap to the front, thigh in the plane"),
    ]
    contracture = of.inputs.maybe("hip_flexion_contracture_deg")
    if contracture:
        seen = angles.apparent_deg(of.before, 0.0, contracture, of.side)
        note = f"hip flexed by its contracture of {contracture:g} deg"
        lines.append(Line(label="a front film of the flexed hip shows", value=seen, unit="deg", note=note))
    return Section(title="The neck now", lines=tuple(lines))


def _how_much(of: OsteotomyInputs) -> Section:
    table, aimed = _targets(of), of.inputs.item("target_version_deg")
    lines = [
        Line(
            label="target neck-shaft angle",
            value=of.aim_deg,
            unit="deg",
            places=1,
            note=f"{of.taken.reason}; now {of.before.neck_shaft_deg:.0f}",
            strong=True,
        ),
        number(of, "neck_shaft_after_deg", "neck-shaft angle after", note="in space", strong=True),
        Line(
            label="target version",
            value=of.inputs.number("target_version_deg"),
            unit="deg",
            note=aimed.note or "by hand",
            sources=aimed.sources,
        ),
        number(of, "version_after_deg", "version after", note=f"now {of.before.version_deg:.0f}", strong=True),
        *_limits(of),
        *_range_after(of),
    ]
    return Section(title="How much", lines=tuple(lines), tables=(table,))


def _targets(of: OsteotomyInputs) -> Table:
    """Every target, with what it asks for in space."""
    rows: list[tuple[Cell, ...]] = []
    for wish in of.wishes:
        there = None if wish.neck_shaft_deg is None else angles_for(of.model.bone, of.model.plan, wish.neck_shaft_deg)
        if there is None:
            rows.append((wish.reason, None, None, None, "not reached"))
            continue
        needed = there["adduction_needed_deg"] or 0.0
        fits = "not known" if of.adduction_deg is None else "yes" if needed <= of.adduction_deg else "no"
        rows.append((wish.reason, there["neck_shaft_after_deg"], there["epiphyseal_after_deg"], needed, fits))
    return Table(
        title="Correction that each target needs",
        columns=(
            Column(title="target"),
            Column(title="neck-shaft after", unit="deg"),
            Column(title="epiphyseal after", unit="deg"),
            Column(title="adduction needed", unit="deg"),
            Column(title="free now"),
        ),
        rows=tuple(rows),
        marked=tuple(k for k, wish in enumerate(of.wishes) if of.taken.reason.startswith(wish.reason)),
        note="In space, with the target version. What the shaft's front view shows as valgus turns so much adduction"
        f" into abduction; {of.inputs.number('adduction_left_deg'):g} deg are to be left.",
        sources=tuple(sorted({id for wish in of.wishes for id in wish.sources})),
    )


def _limits(of: OsteotomyInputs) -> Iterator[Line]:
    slope, after = of.model.bone.epiphyseal_deg, of.told("epiphyseal_after_deg")
    if slope is None or after is None:
        return
    yield number(of, "epiphyseal_after_deg", "epiphyseal angle after", note=f"now {slope:g}; in space", strong=True)
    for id in LIMITS:
        rule = of.case.protocol.value(id)
        # One that is reached but for the rounding of the solver is reached.
        held = "reached" if after <= rule.value + 1e-6 else f"{after - rule.value:.0f} deg short of it"
        label = f"published limit {rule.value:g} deg"
        yield Line(label=label, value=held, note=rule.because, sources=rule.sources)


def _range_after(of: OsteotomyInputs) -> Iterator[Line]:
    """Adduction and abduction after the correction: what one loses the other gains."""
    taken = of.model.told("front_valgus_deg")
    if taken is None:
        return
    if of.adduction_deg is not None:
        note = f"now {of.adduction_deg:g}, before any release"
        yield Line(label="adduction left", value=of.adduction_deg - taken, unit="deg", note=note)
    abduction = of.inputs.maybe("hip_abduction_deg")
    if abduction is not None:
        yield Line(label="abduction afterwards", value=abduction + taken, unit="deg", note=f"now {abduction:g}")


def _correction(of: OsteotomyInputs) -> Section:
    """The correction in the surgeon's terms, from the one model: two projections and a turn, in no order."""
    told = of.numbers.numbers
    frame = of.inputs.item("flexion_frame").value
    where = "the shaft's true side view" if frame == "shaft_side" else "the plane of neck and shaft"
    words = (
        f"Flexion is meant in {where}; in the other frame the same target reads as other numbers. Valgus and extension"
        " are what the front and the side view show of the new shaft: two projections, in no order.",
    )
    lines = [
        number(of, "valgus_deg", "valgus", "varus", note="front view of the new shaft", strong=True),
        number(of, "extension_deg", "extension", "flexion", note="side view of the new shaft", strong=True),
        number(
            of, "rotation_deg", "distal piece inward", "distal piece outward", note="between two wires", strong=True
        ),
        number(of, "adduction_needed_deg", "adduction that must be free after the release", strong=True),
        number(of, "total_turn_deg", "all as one turn of the distal piece"),
    ]
    axis = told.get("total_axis")
    if isinstance(axis, tuple):
        x, y, z = (medial(of.side) * part for part in axis)
        words_of = f"{x:+.2f} inward, {y:+.2f} forward, {z:+.2f} upward"
        lines.append(Line(label="about the axis", value=words_of, note="by the right hand on a left hip, mirrored"))
    lines += list(_planes(of))
    return Section(title="The correction", words=words, lines=tuple(lines))


def number(
    of: OsteotomyInputs, name: str, forward: str, backward: str = "", *, note: str = "", strong: bool = False
) -> Line:
    """Return one number of the model as a line with its range; two words where its sign has a meaning."""
    value, ends = of.numbers.numbers.get(name), of.numbers.ranges.get(name)
    unit = "mm" if name.endswith("_mm") else "deg" if name.endswith("_deg") else ""
    if not isinstance(value, float):
        return Line(label=forward, value="not known", note=note)
    label, sign = (backward, -1.0) if backward and value < 0 else (forward, 1.0)
    spread = None if ends is None else (min(sign * ends.low, sign * ends.high), max(sign * ends.low, sign * ends.high))
    return Line(label=label, value=sign * value, unit=unit, spread=spread, places=1, note=note, strong=strong)


def _planes(of: OsteotomyInputs) -> Iterator[Line]:
    """The bend between the two shafts in its own plane, and a cut that would make the whole turn by itself."""
    valgus, extension = of.told("valgus_deg"), of.told("extension_deg")
    settings = of.model.found.settings
    if valgus is None or extension is None or settings is None:
        return
    label = "bend between old and new shaft, in its own plane"
    try:
        plane = correction.one_plane(valgus, extension)
    except ValueError:
        yield Line(label=label, value="none", note="a view of 90 deg or more has no oblique plane")
    else:
        note = f"plane {plane.plane_deg:.0f} deg from the plane of valgus; graphical method {plane.graphical_deg:.1f}"
        yield Line(label=label, value=plane.exact_deg, unit="deg", places=1, note=note)
    if not of.inputs.item("single_cut").value:
        return
    cut = correction.one_cut(turn_of(settings))
    if cut is None:
        yield Line(label="single cut for the whole correction", value="no rotation needed")
        return
    note = f"rises {cut.rises_deg:.0f} deg from medial to front; the fragments turn {cut.turn_deg:.1f} deg in its plane"
    yield Line(
        label="single cut for the whole correction, tilt",
        value=cut.tilt_deg,
        unit="deg",
        places=1,
        note=note,
        strong=True,
    )


def _film(of: OsteotomyInputs) -> Section:
    title, after = "What the film will show afterwards", of.after
    if after is None:
        return Section(title=title, words=("Not known: the plan is refused.",))
    turned, flexed = of.inputs.maybe("film_leg_rotation_deg"), of.inputs.maybe("film_hip_flexion_deg")
    observers = of.case.protocol.value("neck_shaft_observers_deg")
    apart = f"two observers differ by up to {observers.value:g} deg"
    straight = "front film, kneecap to the front"
    as_before = number(of, "film_neck_shaft_after_deg", straight, note=apart, strong=True)
    lines = [as_before.model_copy(update={"sources": observers.sources})]
    if turned or flexed:
        shown = angles.apparent_deg(after, side=of.side)
        note = f"turned outward {turned or 0:g} deg, hip flexed {flexed or 0:g} deg, as before"
        lines = [
            Line(
                label=straight,
                value=shown,
                unit="deg",
                places=1,
                note=apart,
                sources=observers.sources,
                strong=True,
            ),
            number(of, "film_neck_shaft_after_deg", "in the position of the old film", note=note),
        ]
    contracture = of.inputs.maybe("hip_flexion_contracture_deg")
    if contracture:
        seen = angles.apparent_deg(after, 0.0, contracture, of.side)
        note = f"where a contracture of {contracture:g} deg is left"
        lines.append(Line(label="with the hip flexed", value=seen, unit="deg", places=1, note=note))
    return Section(title=title, lines=tuple(lines))
