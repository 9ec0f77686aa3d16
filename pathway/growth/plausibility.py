"""Lengths that cannot be, and lengths to be asked back, before anything is worked out from them."""

from __future__ import annotations

from pathway.days import age_words, age_years
from pathway.growth.bones.measured import mean_length
from pathway.growth.reference_curves import GrowthCurve, growth_curve
from pathway.growth.surgery import BONES
from pathway.problems import Problem
from pathway.protocol.model import Bone, Protocol
from pathway.protocol.skeletal_methods import outside_ages, skeletal_method
from pathway.record import Measurement, Record, Visit


def growth_faults(record: Record, protocol: Protocol) -> tuple[Problem, ...]:
    """Return every measured length that cannot be, each named by finding, side and day.

    A length of 0 mm or less; a bone of the longer leg that, from an age of the rules on, is shorter than a
    newborn's mean; a difference in leg length that is more than the whole bone it is put on. The shorter leg,
    however extreme, is never refused: see `growth_questions`.
    """
    curve = growth_curve(protocol, record.child.sex)
    found = []
    for visit, bone, m in _lengths(record):
        where, key = f"visit of {visit.date}", f"{m.finding} {m.side}"
        if float(m.value) <= 0:
            found.append(Problem(where, key, None, f"{m.value:g} mm", "a length above 0 mm", "correct the length"))
            continue
        age = age_years(record.child.date_of_birth, visit.date)
        newborn = mean_length(protocol, curve, bone, 0.0)[0]
        old_enough = age >= protocol.number("newborn_refused_from_years")
        if m.side == record.other_side and old_enough and float(m.value) < newborn:
            found.append(
                Problem(
                    where,
                    key,
                    None,
                    f"{m.value:g} mm at {age_words(age)} on the longer side",
                    f"more than the {newborn:.0f} mm of a newborn's {bone}",
                    "correct the length or its unit (mm), or the sides",
                )
            )
    return (*found, *_impossible_differences(record, protocol, curve))


def _impossible_differences(record: Record, protocol: Protocol, curve: GrowthCurve) -> list[Problem]:
    first = protocol.diagnosis(record.child.diagnosis).bones[0]
    found = []
    for visit in record.visits:
        age = age_years(record.child.date_of_birth, visit.date)
        lengths = {(m.finding, m.side): float(m.value) for m in visit.measurements if m.finding == f"{first}_length_mm"}
        long = lengths.get((f"{first}_length_mm", record.other_side), mean_length(protocol, curve, first, age)[0])
        for m in visit.measurements:
            if m.finding == "leg_length_discrepancy_mm" and abs(float(m.value)) >= long:
                key = f"{m.finding} {m.side}"
                what = f"{m.value:g} mm at {age_words(age)}"
                wanted = f"less than the whole {first} ({long:.0f} mm)"
                found.append(
                    Problem(f"visit of {visit.date}", key, None, what, wanted, "correct the difference or its unit")
                )
    return found


def growth_questions(record: Record, protocol: Protocol) -> tuple[str, ...]:
    """Return a question for each length or skeletal age that is possible but should be looked at again."""
    curve = growth_curve(protocol, record.child.sex)
    most = protocol.number("extreme_length_sd")
    asked = []
    for visit, bone, m in _lengths(record):
        value, age = float(m.value), age_years(record.child.date_of_birth, visit.date)
        if value <= 0:
            continue
        if m.side == record.other_side:
            mean, cv = mean_length(protocol, curve, bone, age)
            if abs(value - mean) > most * cv * mean:
                asked.append(
                    f"Is the {bone} of the longer leg on {visit.date} really {value:g} mm? "
                    f"At {age_words(age)} {mean:.0f} mm is usual."
                )
        else:
            asked += _short_question(visit, bone, value, record, protocol, curve, age)
    lengths = (*asked, *_shrunk(record, protocol), *_swapped(record, protocol), *_gained(record, protocol))
    return (*lengths, *_skeletal(record, protocol))


def _shrunk(record: Record, protocol: Protocol) -> list[str]:
    """Ask for each bone that is shorter than at the visit before by more than two films can be wrong."""
    error = protocol.number("extreme_length_sd") * 2**0.5 * protocol.number("length_error_sd_mm")
    last: dict[tuple[Bone, str | None], tuple[Visit, float]] = {}
    asked = []
    for visit, bone, m in _lengths(record):
        before = last.get((bone, m.side))
        if before is not None and float(m.value) < before[1] - error:
            asked.append(
                f"Is the {bone} of the {m.side} leg on {visit.date} really {float(m.value):g} mm? "
                f"On {before[0].date} it was {before[1]:g} mm already."
            )
        last[bone, m.side] = (visit, float(m.value))
    return asked


def _swapped(record: Record, protocol: Protocol) -> list[str]:
    """Ask where the bone that used to be the shorter one is all at once the longer: the sides may be swapped."""
    error = protocol.number("extreme_length_sd") * 2**0.5 * protocol.number("length_error_sd_mm")
    asked, before = [], dict[Bone, float]()
    grown = {operation.date for operation in record.operations if operation.achieved_mm or operation.physes}
    for visit in record.visits:
        mm = {(bone, m.side): float(m.value) for v, bone, m in _lengths(record) if v is visit}
        for bone in BONES:
            long, short = mm.get((bone, record.other_side)), mm.get((bone, record.affected_side))
            if long is None or short is None:
                continue
            operated = any(date <= visit.date for date in grown)
            if before.get(bone, 0.0) > error and short - long > error and not operated:
                asked.append(
                    f"Are left and right of the {bone} swapped on {visit.date}? The treated leg is the longer one "
                    f"there ({short:g} and {long:g} mm), whereas before it was the shorter one."
                )
            before[bone] = long - short
    return asked


def _gained(record: Record, protocol: Protocol) -> list[str]:
    """Ask for each lengthening that gained more than the rules ever plan at that age: a digit too many, perhaps."""
    asked = []
    for operation in record.operations:
        age = age_years(record.child.date_of_birth, operation.date)
        most = min(
            (
                rule.most_mm
                for rule in protocol.amount_limits
                if rule.stage == operation.kind and rule.from_age_years <= age < rule.to_age_years
                if rule.most_mm is not None and not rule.warns
            ),
            default=None,
        )
        if most is not None and (operation.achieved_mm or 0.0) > most:
            asked.append(
                f"Did the {protocol.stage(operation.kind).label.lower()} of {operation.date} really gain "
                f"{operation.achieved_mm:g} mm? At {age_words(age)} the rules plan at most {most:g} mm."
            )
    return asked


def _skeletal(record: Record, protocol: Protocol) -> list[str]:
    """Ask for each skeletal age outside the ages of its method, or further from the calendar than children lie."""
    most = protocol.number("extreme_length_sd") * protocol.number("skeletal_age_offset_sd_years")
    asked = []
    for visit in record.visits:
        years = visit.skeletal_age_years
        if years is None:
            continue
        method = skeletal_method(protocol, visit.skeletal_age_method)
        ages = outside_ages(protocol, visit, record.child.sex)
        if method is not None and ages is not None:
            asked.append(
                f"Was the skeletal age of {visit.date} really read by {method.label}? "
                f"That tells {ages[0]:g} to {ages[1]:g} years in a {record.child.sex}, not {years:g}."
            )
        age = age_years(record.child.date_of_birth, visit.date)
        if abs(years - age) > most:
            asked.append(
                f"Is the skeletal age on {visit.date} really {years:g} years? The child was {age_words(age)} old, and "
                f"more than {most:.1f} years apart is rare without a disorder of growth."
            )
    return asked


def _short_question(
    visit: Visit, bone: Bone, value: float, record: Record, protocol: Protocol, curve: GrowthCurve, age: float
) -> list[str]:
    other = [
        float(m.value) for m in visit.measurements if m.finding == f"{bone}_length_mm" and m.side == record.other_side
    ]
    known = [mm for mm in other if mm > 0]
    long = known[0] if known else mean_length(protocol, curve, bone, age)[0]
    if value >= protocol.number("extreme_short_share") * long:
        return []
    against = "of the other side" if known else "usual at that age"
    return [
        f"Is the {bone} of the shorter leg on {visit.date} really {value:g} mm? "
        f"That is {value / long:.0%} of the {long:.0f} mm {against}."
    ]


def _lengths(record: Record) -> list[tuple[Visit, Bone, Measurement]]:
    names = {f"{bone}_length_mm": bone for bone in BONES}
    return [
        (visit, names[m.finding], m)
        for visit in record.visits
        for m in visit.measurements
        if m.finding in names and m.side is not None
    ]
