"""Two parts of the lengthening worksheet: the axis of the leg, and the lift week by week."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator

from pathway.worksheets.lengthening.axis_shift import axis_shift
from pathway.worksheets.lengthening.worked import WEEK, Made
from pathway.worksheets.lift.heights import CARRIER_KEY, SHORT_WORDS, lift_for, lift_limits
from pathway.worksheets.sheet import Column, Line, Section, Table

NOT_MEASURED = "the length of the {bone} before the operation is not known: give it with --set {bone}_mm=…"


def missing_bone(of: Made) -> str:
    """Return what the sheet cannot say without the length of the bone."""
    told = NOT_MEASURED.format(bone=of.given.bone)
    judged = (
        "Limits by share of the bone are judged at the shortest that it may be"
        if of.bone_span
        else "Limits by share of the bone are not judged"
    )
    return f"{judged}; {told}."


def share_line(of: Made, gain_mm: float) -> Line:
    """Return the gain as a share of the bone: a range where its length is only expected, nothing where it is not."""
    line = Line(label="Share of the bone", value=None, unit="%", places=1, strong=True)
    if of.bone_mm is not None:
        return line.model_copy(update={"value": 100 * gain_mm / of.bone_mm})
    if of.bone_span is None:
        return line.model_copy(update={"unit": "", "note": NOT_MEASURED.format(bone=of.given.bone)})
    low, high = of.bone_span
    note = f"not measured: {low:.0f} to {high:.0f} mm in 90 of 100 children like this one"
    return line.model_copy(update={"spread": (100 * gain_mm / high, 100 * gain_mm / low), "note": note})


def axis_section(of: Made) -> Section:
    """Return what the lengthening does to the axis: by geometry as far as the lengths are known, and as measured."""
    gain = float(of.course.gain_mm)
    measured = of.value("axis_shift_measured_mm_per_cm")
    low, high = (measured.low or 0.0) * gain / 10, (measured.high or 0.0) * gain / 10
    as_measured = Line(
        label="As measured in adults, axis passes further outward",
        value=measured.value * gain / 10,
        spread=(low, high),
        unit="mm",
        places=1,
        note=measured.because,
        sources=measured.sources,
        strong=True,
    )
    lines = (*_by_geometry(of, gain), as_measured)
    words = (
        "Lengthening along the shaft of a leg that was straight. Pure geometry and the mean measured in adults "
        "differ: the first is the least to expect; why the second is about twice as large is not known. "
        "Existing valgus adds to this.",
    )
    return Section(title="Axis of the leg", words=words, lines=lines)


def _by_geometry(of: Made, gain: float) -> Iterator[Line]:
    """Yield the shift by geometry; where a length is not known, the axis moves less than the knee does."""
    angle, tibia = of.inputs.number("axes_angle_deg"), of.inputs.maybe("tibia_mm")
    moved = "By geometry, axis passes further outward"
    inward = Line(
        label="By geometry, knee moves inward", value=gain * math.sin(math.radians(angle)), unit="mm", places=1
    )
    if of.bone_mm is None:
        yield inward
        note = f"at most as far as the knee moves; {NOT_MEASURED.format(bone='femur')}"
        yield Line(label=moved, value=None, spread=(0.0, inward.value), unit="mm", places=1, note=note, strong=True)
        return
    shift = axis_shift(of.bone_mm, tibia or of.bone_mm, angle, gain)
    yield Line(
        label="By geometry, angle between shaft and axis afterwards", value=shift.axes_angle_deg, unit="deg", places=2
    )
    yield Line(label="By geometry, valgus produced", value=shift.valgus_deg, unit="deg", places=2, strong=True)
    yield inward
    if tibia is None:
        note = f"at most as far as the knee moves; {NOT_MEASURED.format(bone='tibia')}"
        yield Line(label=moved, value=None, spread=(0.0, inward.value), unit="mm", places=1, note=note, strong=True)
    else:
        yield Line(label=moved, value=shift.axis_outward_mm, unit="mm", places=1, strong=True)


def lift_section(of: Made) -> Section:
    """Return the lift week by week, or in words why there is none."""
    before = of.inputs.maybe("difference_mm")
    if before is None:
        words = "The difference of the legs before is not known, so no lift is told: give it with --set difference_mm=…"
        return Section(title="Lift", words=(words,))
    if not of.course.days:
        none = "Nothing is turned until the film is repeated" if of.given.held else "No turns are left"
        left = _lift_row(of, of.given.seen.on if of.given.seen else of.course.end, float(of.course.gain_mm), before)
        return Section(title="Lift", words=(f"{none}: difference {left[2]:.0f} mm, lift {left[3]:g} mm.",))
    rows = []
    reached = {day.date: float(day.reached_mm) for day in of.course.days}
    start = float(of.given.seen.reached_mm) if of.given.seen else 0.0
    gained, first = start, of.course.days[0].date
    for k in range((of.course.end - first).days + 1):
        day = first + datetime.timedelta(days=k)
        if k % WEEK == 0:
            rows.append(_lift_row(of, day, gained, before))
        gained = reached.get(day, gained)
    rows.append(_lift_row(of, of.course.end + datetime.timedelta(days=1), gained, before))
    less = of.value("lift_less_than_difference_mm")
    columns = (
        Column(title="from"),
        Column(title="gained", unit="mm", places=1),
        Column(title="difference", unit="mm", places=0),
        Column(title="lift", unit="mm"),
        Column(title="worn as"),
    )
    sources = (*less.sources, *of.value("lift_shoe_most_mm").sources)
    note = f"{less.because} Growth during the lengthening is not counted. {CARRIER_KEY}"
    table = Table(title="Lift week by week", columns=columns, rows=tuple(rows), note=note, sources=sources)
    return Section(title="Lift", tables=(table,))


def _lift_row(
    of: Made, day: datetime.date, gained: float, before: float
) -> tuple[datetime.date, float, float, float, str]:
    left = before - gained
    lift = lift_for(max(left, 0.0), lift_limits(of.case.protocol))
    words = SHORT_WORDS[lift.carrier] if left >= 0 else "none: now the longer leg"
    return day, gained, left, lift.height_mm, words
