"""The parts of the lengthening worksheet: sections and warnings made from the worked-out course."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator

from pathway.courses.course import limits_at
from pathway.days import age_years, in_months
from pathway.protocol.model import Value
from pathway.worksheets.lengthening.calendar import ONLY_IF, calendar, visits
from pathway.worksheets.lengthening.device import device_section, device_warnings, holds_inside, removal_days, stays
from pathway.worksheets.lengthening.distraction import weekday
from pathway.worksheets.lengthening.phases import Span, published_index
from pathway.worksheets.lengthening.sections_leg import axis_section, lift_section, missing_bone, share_line
from pathway.worksheets.lengthening.sections_visits import visit_warnings, visits_section
from pathway.worksheets.lengthening.worked import WEEK, Made
from pathway.worksheets.sheet import Cell, Column, Line, Section, Table, Warning


def sections(of: Made) -> Iterator[Section]:
    """Yield the sections of the sheet, what is looked for first at the top."""
    yield _in_short(of)
    yield device_section(of.device)
    yield _healing(of)
    yield _stop_rules(of)
    yield from visits_section(of)
    yield visits(of.case, of.inputs, of.given, of.course)
    yield _after_removal(of)
    if of.given.bone == "femur":
        yield axis_section(of)
    yield lift_section(of)
    yield calendar(of.case, of.inputs, of.given, of.course)


def warnings(of: Made) -> Iterator[Warning]:
    """Yield what must not be overlooked: limits passed, a rate too fast, turns that do not fit, what was found."""
    amount = max(of.inputs.number("amount_mm"), float(of.course.gain_mm))
    age = age_years(of.case.record.child.date_of_birth, of.given.operation)
    # Without a length the limits by share of the bone bind nothing here: the sheet says so instead.
    shortest = of.bone_mm or (of.bone_span[0] if of.bone_span else math.inf)
    for limit in limits_at(of.case.protocol, of.kind, age, shortest, _off(of)):
        if amount > limit.limit_mm + 1e-9:
            how = "warning above" if limit.rule.warns else "at most"
            text = f"{amount:g} mm: {how} {limit.limit_mm:.0f} mm here. {limit.rule.because}"
            yield Warning(text=text, rule=limit.rule.id, sources=limit.rule.sources, stop=not limit.rule.warns)
    if of.bone_mm is None:
        yield Warning(text=missing_bone(of))
    fast = of.value("distraction_fast_mm_per_day")
    fastest = max(float(rate) for rate in of.rates)
    if fastest > fast.value:
        yield Warning(text=f"{fastest:g} mm a day: {fast.because}", rule=fast.id, sources=fast.sources)
    if of.given.amount_mm % of.given.turn_mm:
        rest = float(of.given.amount_mm % of.given.turn_mm)
        yield Warning(text=f"The amount is not a whole number of turns: the last turn is only {rest:g} mm.")
    if of.given.rate_mm_per_day % of.given.turn_mm:
        yield Warning(text="The rate is not a whole number of turns a day: days with more and fewer turns alternate.")
    yield from visit_warnings(of)
    yield from device_warnings(of.case, of.device, amount, of.given.operation)


def _off(of: Made) -> frozenset[str]:
    """Return the limits of some children that are none here: those that the plan's stage does not name."""
    named = {note.rule for note in of.case.stage.amount_limits} if of.case.stage is not None else set()
    return frozenset(rule.id for rule in of.case.protocol.amount_limits if rule.when is not None) - named


def _in_short(of: Made) -> Section:
    course, amount = of.course, of.inputs.number("amount_mm")
    gain = float(course.gain_mm)
    lines = [
        share_line(of, gain),
        Line(
            label="Age at the operation",
            value=age_years(of.case.record.child.date_of_birth, of.given.operation),
            unit="years",
            places=1,
        ),
        Line(label="Operation", value=of.given.operation, note=f"then {of.given.latency_days} days of latency"),
        Line(label="First turn", value=course.first_turn),
        *(_held(of) if of.given.held else _ahead(of)),
    ]
    if gain != amount:
        note = f"of {amount:g} mm planned"
        if of.so_far.beyond_mm is not None and of.given.seen is not None:
            note = f"by the film; {float(of.given.seen.reached_mm):g} mm by the turns, {note}"
        lines.insert(1, Line(label="Reached", value=gain, unit="mm", places=2, note=note))
    return Section(title="In short", lines=tuple(lines))


def _held(of: Made) -> Iterator[Line]:
    """Yield the days that a film leaves open, each without a day."""
    for label in ("End of distraction", _solid_label(of)):
        yield Line(label=label, value="not told", note=ONLY_IF, strong=True)


def _ahead(of: Made) -> Iterator[Line]:
    """Yield what lies ahead: the end of distraction, when the device comes off, free walking, the length kept."""
    course = of.course
    yield Line(label="End of distraction", value=course.end, strong=True, note=_days_note(of, course.end))
    if of.given.off_known:
        yield from _solid(of)
    else:
        note = "the frame protects the joint, and stays at least until the joint is held and the new bone is solid"
        yield Line(label=_solid_label(of), value="the surgeon sets the day", note=note, strong=True)
    yield from _kept(of, float(course.gain_mm))


def _solid(of: Made) -> Iterator[Line]:
    course = of.course
    spread = _spread(course.consolidation)
    usual = of.device.months_per_cm is None and of.value(f"{of.given.bone}_days_per_cm").value == of.given.index.mid
    shifted = "" if usual or of.device.months_per_cm is not None else ", moved in proportion to the healing index here"
    yield Line(label="Days of consolidation", value=course.consolidation.mid, unit="days", spread=spread)
    yield Line(
        label=_solid_label(of),
        value=weekday(of.day(course.removal.mid)),
        spread=(of.day(course.removal.low), of.day(course.removal.high)),
        note=f"{course.removal.low:.0f} to {course.removal.high:.0f} days in all, across published means{shifted}",
        strong=True,
    )
    yield from _frame_off(of)
    yield from _nail_out(of)
    yield Line(
        label="Operation to free walking",
        value=in_months(course.walking.mid),
        spread=(in_months(course.walking.low), in_months(course.walking.high)),
        unit="months",
        places=1,
        strong=True,
        sources=of.value("protected_after_removal_weeks").sources,
    )


def _solid_label(of: Made) -> str:
    if stays(of.device):
        return "New bone solid, the nail stays"
    return "New bone solid, what is inside holds it" if holds_inside(of.device) else "Device comes off"


def _frame_off(of: Made) -> Iterator[Line]:
    """Yield when a frame comes off that is needed for the turning alone, and what is published of the bone then."""
    if of.device.comes_off == "length_reached":
        note = "once the length is reached and what is inside holds the bone, in an operation of its own"
        day: Cell = of.course.end
        if of.given.joint_out:
            day, note = "the surgeon sets the day", "the frame protects the joint until it is held"
        yield Line(label="Frame comes off, from", value=day, note=note, sources=of.device.sources, strong=True)
    if of.device.kind == "frame_over_nail" and of.given.bone == "femur":
        yield _published("New bone solid over a nail, published", of.value("over_nail_solid_femur_months"), "months")


def _kept(of: Made, gain: float) -> Iterator[Line]:
    """Yield what of the gain to count on; nothing is read of what is lost over a nail, which holds the length."""
    if holds_inside(of.device):
        return
    lost = of.value("length_lost_after_removal_mm")
    low, high = lost.low or 0.0, lost.high or 0.0
    yield Line(
        label="Length kept, for planning",
        value=None,
        spread=(max(gain - high, 0.0), gain - min(low, gain)),
        unit="mm",
        note=lost.because,
        sources=lost.sources,
        strong=True,
    )


def _nail_out(of: Made) -> Iterator[Line]:
    """Yield when a nail is taken out, in an operation of its own."""
    if stays(of.device):
        first, last = removal_days(of.case, of.kind, of.given.operation)
        solid = weekday(of.day(of.course.removal.mid))
        note = "not before the new bone is solid" if solid > first else ""
        spread, sources = (max(first, solid), max(last, solid)), of.value("nail_out_within_months").sources
        yield Line(label="Nail comes out", value=None, spread=spread, note=note, sources=sources, strong=True)


def _days_note(of: Made, day: datetime.date) -> str:
    return f"day {(day - of.given.operation).days} after the operation"


def _spread(span: Span) -> tuple[float, float]:
    return span.low, span.high


def _healing(of: Made) -> Section:
    if not of.given.off_known:
        joint = "The frame protects the joint that is out: the surgeon sets the day on which it comes off."
        return Section(title="Time in the device", words=(f"It is told {ONLY_IF}." if of.given.held else joint,))
    if of.device.months_per_cm is not None:
        return _healing_of_device(of)
    table = of.case.protocol.table("healing_index")
    cm = float(of.course.gain_mm) / 10
    rows = []
    for row in published_index(table, of.given.bone):
        _, group, mean, low, high, spread, counts, source = row
        year = of.case.protocol.source(str(source)).year
        cells = (float(low) * cm, float(mean) * cm, float(high) * cm)
        shown = "mean only" if spread == "mean" else "one SD" if spread == "sd" else str(spread)
        beside = "" if counts == "yes" else ", not counted"
        rows.append((f"{group} ({year or 'no year'})", float(mean), *(round(cell) for cell in cells), shown + beside))
    columns = (
        Column(title="published group"),
        Column(title="days/cm", places=1),
        Column(title="low"),
        Column(title="mean"),
        Column(title="high"),
        Column(title="spread"),
    )
    cited = tuple(dict.fromkeys(str(row[-1]) for row in published_index(table, of.given.bone)))
    words = (
        "Time in the device is given as an interval: days for this gain at each published index, from the "
        "operation, at the usual latency and rate. A slower rate adds days.",
    )
    lines = []
    if of.given.bone == "femur" and of.case.record.child.diagnosis == "congenital_femoral_deficiency":
        frame = of.value("frame_congenital_femur_days")
        lines.append(_published("Days in the frame, congenital femora", frame, "days"))
    title = f"Days from operation to removal for {10 * cm:g} mm, {of.given.bone}"
    shown_table = Table(
        title=title, columns=columns, rows=tuple(rows), sources=cited, note="not counted: outside the interval"
    )
    return Section(title="Time in the device", words=words, lines=tuple(lines), tables=(shown_table,))


def _healing_of_device(of: Made) -> Section:
    """Return the time until the new bone is solid with a device that has published figures of its own."""
    span = of.given.index
    line = Line(
        label="Days for each cm until the new bone is solid",
        value=span.mid,
        spread=_spread(span),
        unit="days/cm",
        places=1,
        sources=of.device.sources,
    )
    words = ("Not a time with pins: the nail stays inside. Until then weight is partial.",)
    return Section(title="Time until the new bone is solid", words=words, lines=(line,))


def _published(label: str, value: Value, unit: str, places: int = 0) -> Line:
    spread = None if value.low is None or value.high is None else (value.low, value.high)
    return Line(
        label=label,
        value=value.value,
        unit=unit,
        spread=spread,
        note=value.because,
        sources=value.sources,
        places=places,
    )


def _stop_rules(of: Made) -> Section:
    rules = [rule for rule in of.case.protocol.stop_rules if rule.stage == of.kind]
    words = ("Gap length, new bone, alignment, hip and knee in joint, range of motion, nerve, pins: at every visit.",)
    return Section(title="When to slow or stop", words=(*words, *(rule.text for rule in rules)))


def _after_removal(of: Made) -> Section:
    congenital = of.given.bone == "femur" and of.case.record.child.diagnosis == "congenital_femoral_deficiency"
    lines: list[Line] = []
    # What is published of the months after a frame says nothing of a bone with a nail in it.
    nail = holds_inside(of.device)
    if congenital and not nail:
        rod = bool(of.inputs.value("rod"))
        ids = ("fracture_congenital_femur_no_rod_percent", "fracture_congenital_femur_rod_percent")
        for id, label, chosen in zip(ids, ("without a rod", "with a rod"), (not rod, rod), strict=True):
            line = _published(f"Fracture after removal, {label}", of.value(id), "of 100")
            lines.append(line.model_copy(update={"strong": chosen}))
    elif not nail:
        lines.append(_published("Fracture after removal", of.value(f"fracture_{of.given.bone}_percent"), "of 100"))
    if of.given.bone == "tibia" and not nail:
        lines.append(_published("Length lost after removal", of.value("tibial_subsidence_most_mm"), "mm"))
        lines.append(_published("Lost more than 1 cm", of.value("tibial_subsidence_over_1_cm_percent"), "of 100"))
    off, weeks, weight = of.course.removal, of.given.protected_weeks, of.given.weight_weeks
    until = Line(
        label="Protected until",
        value=weekday(of.day(off.mid)) + datetime.timedelta(days=round(WEEK * weeks.mid)),
        spread=(of.day(off.low + WEEK * weeks.low), of.day(off.high + WEEK * weeks.high)),
        sources=of.value("protected_after_removal_weeks").sources,
    )
    steps = Line(
        label="Weight bearing increased over",
        value=weight.mid,
        spread=_spread(weight),
        unit="weeks",
        sources=of.value("weight_in_steps_weeks").sources,
    )
    whole = _published("Whole treatment in a frame, published", of.value("whole_treatment_most_months"), "months")
    lines += [until] if of.given.off_known and not nail else []
    lines += [steps] if nail else [steps, whole.model_copy(update={"value": None})]
    if of.given.bone == "femur" and not nail:
        lines.append(
            _published("To full weight in a frame, published", of.value("full_weight_frame_months"), "months", 1)
        )
    kept, amount = of.inputs.maybe("kept_mm"), of.inputs.number("amount_mm")
    if kept is not None:
        note = (
            "less than planned: the shortfall goes back into the plan as difference"
            if kept < amount
            else "as planned or more"
        )
        lines.insert(
            0, Line(label="Kept minus planned", value=kept - amount, unit="mm", places=1, note=note, strong=True)
        )
    return Section(title="Once the bone is solid" if nail else "After removal", lines=tuple(lines))
