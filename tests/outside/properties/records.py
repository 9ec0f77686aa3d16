"""Random records of invented children: any age, sex, side, proportion, findings, operations and wishes."""

from __future__ import annotations

import datetime

from hypothesis import strategies as st

from pathway.days import add_months, age_years
from pathway.preferences import PREFERENCES
from pathway.protocol.model import FindingRule, Protocol
from pathway.record import BlockedWeeks, CaseCalendar, Decision, Missing, Operation, Record, SchoolHoliday, Side, Visit
from tests.sample import HEALTHY, OF_CHILD, child, decision, operation, side_of, visit

Day = datetime.date
DIAGNOSES = ("congenital_femoral_deficiency", "congenital_short_femur", "fibular_deficiency", "acquired_physis_damage")
PREPARATIONS = ("hip_preparation", "proximal_femoral_osteotomy", "knee_preparation", "ankle_foot_preparation")


def _finding(rule: FindingRule) -> st.SearchStrategy[object]:
    if rule.kind == "flag":
        return st.booleans()
    if rule.kind == "choice":
        return st.sampled_from(rule.choices)
    low, high = rule.plausible or (0.0, 1.0)
    return st.integers(int(low), int(high)).map(float)


@st.composite
def _findings(draw: st.DrawFn, protocol: Protocol) -> dict[str, object]:
    """Return what was examined: mostly healthy, some of it off, some of it never looked at."""
    found: dict[str, object] = {}
    for name, healthy in HEALTHY.items():
        fate = draw(st.sampled_from(("healthy", "healthy", "healthy", "any", "never")))
        if fate != "never":
            found[name] = healthy if fate == "healthy" else draw(_finding(protocol.finding(name)))
    for name in ("foot_functional", "upper_limbs_functional", "regenerate"):
        if draw(st.booleans()):
            found[name] = draw(_finding(protocol.finding(name)))
    return found


@st.composite
def _lengths(draw: st.DrawFn, age: float, ratios: tuple[float, float]) -> dict[str, float]:
    femur = (95 + 21.5 * age) * draw(st.floats(0.9, 1.1))
    tibia = 0.8 * femur
    return {
        "affected.femur_length_mm": round(femur * ratios[0], 1),
        "affected.tibia_length_mm": round(tibia * ratios[1], 1),
        "other.femur_length_mm": round(femur, 1),
        "other.tibia_length_mm": round(tibia, 1),
    }


@st.composite
def records(draw: st.DrawFn, protocol: Protocol) -> tuple[Record, Day]:
    """Return a record and the day to plan on: up to two visits, operations between them, wishes of the family."""
    born = draw(st.dates(Day(2006, 1, 1), Day(2024, 12, 31)))
    side: Side = draw(st.sampled_from(("left", "right")))
    last = add_months(born, draw(st.integers(2, 215))) + datetime.timedelta(days=draw(st.integers(0, 27)))
    ratios = (draw(st.floats(0.4, 0.95)), draw(st.floats(0.7, 1.0)))
    visits: list[Visit] = []
    days = [last]
    if draw(st.booleans()) and (last - born).days > 900:
        days.insert(0, add_months(last, -draw(st.integers(6, 24))))
    for day in days:
        age = age_years(born, day)
        found = draw(_findings(protocol))
        found.update(draw(_lengths(age, ratios)))
        if draw(st.integers(0, 7)) == 0:
            found = {name: value for name, value in found.items() if not name.endswith("length_mm")}
        skeletal = draw(st.one_of(st.none(), st.just(round(max(0.5, min(age + 0.5, 18.0)), 1))))
        visits.append(visit(day, found, side=side, skeletal_age=skeletal, missing=draw(_missing(found, side))))
    on = last + datetime.timedelta(days=draw(st.integers(0, 400)))
    return (
        child(
            *visits,
            operations=draw(_operations(days[0], on, side)),
            decisions=draw(_decisions(on, protocol)),
            calendar=draw(st.none() | _calendars(on)),
            born=born,
            sex=draw(st.sampled_from(("girl", "boy"))),
            side="both" if side == "left" and draw(st.integers(0, 5)) == 0 else side,
            diagnosis=draw(st.sampled_from(DIAGNOSES)),
        ),
        on,
    )


@st.composite
def _missing(draw: st.DrawFn, found: dict[str, object], side: Side) -> tuple[Missing, ...]:
    left_out = [name for name in HEALTHY if name not in found]
    reasons = st.sampled_from(("never_measured", "not_measurable", "declined"))
    return tuple(
        Missing(finding=name, side=None if name in OF_CHILD else side, why=draw(reasons)) for name in left_out[:2]
    )


@st.composite
def _operations(draw: st.DrawFn, first: Day, on: Day, side: Side) -> tuple[Operation, ...]:
    """Return operations in date order: preparations, then lengthenings, the last perhaps still under way."""
    done: list[Operation] = []
    day = first
    for kind in PREPARATIONS:
        if draw(st.integers(0, 3)) == 0:
            done.append(operation(kind, day, side=side))
    for kind in ("femoral_lengthening", "tibial_lengthening", "femoral_lengthening"):
        day = add_months(day, draw(st.integers(12, 48)))
        if day > on:
            break
        if draw(st.integers(0, 2)) == 0:
            out = add_months(day, draw(st.integers(5, 9)))
            done.append(
                operation(
                    kind,
                    day,
                    side=side,
                    achieved_mm=float(draw(st.integers(20, 60))),
                    device_removed=None if out > on else out,
                )
            )
            day = out
    if draw(st.integers(0, 5)) == 0:
        other = side_of("other", side)
        arrest = {"kind": "contralateral_growth_arrest", "side": other, "physes": ["distal_femur"]}
        done.append(Operation.model_validate({**arrest, "date": draw(st.dates(first, on))}))
    return tuple(sorted((item for item in done if item.date <= on), key=lambda item: item.date))


@st.composite
def _calendars(draw: st.DrawFn, on: Day) -> CaseCalendar:
    """Draw a case's own calendar: a surgeon's days, a few closed weeks, school holidays twice a year or none."""
    weekdays = tuple(draw(st.lists(st.sampled_from(("monday", "tuesday", "thursday")), min_size=1, unique=True)))
    closed = [on + datetime.timedelta(days=draw(st.integers(0, 4000))) for _ in range(draw(st.integers(0, 3)))]
    holidays = [on + datetime.timedelta(days=182 * half) for half in range(draw(st.sampled_from((0, 20))))]
    return CaseCalendar(
        operating_weekdays=weekdays,
        operations_in_school_holidays=draw(st.sampled_from((None, "wished"))),
        blocked=tuple(
            BlockedWeeks(reason="closed", from_date=day, to_date=day + datetime.timedelta(days=20)) for day in closed
        ),
        school_holidays=tuple(
            SchoolHoliday(name="holiday", from_date=day, to_date=day + datetime.timedelta(days=25)) for day in holidays
        ),
    )


@st.composite
def _decisions(draw: st.DrawFn, on: Day, protocol: Protocol) -> tuple[Decision, ...]:
    wishes: list[Decision] = []
    if draw(st.integers(0, 2)) == 0:
        start = on + datetime.timedelta(days=draw(st.integers(0, 1500)))
        end = start + datetime.timedelta(days=draw(st.integers(0, 150)))
        wishes.append(decision("block_dates", date=on, by="family", from_date=start, to_date=end))
    if draw(st.integers(0, 3)) == 0:
        kinds = ("contralateral_growth_arrest", "femoral_lengthening", "hip_preparation", "tibial_lengthening")
        wishes.append(decision("decline", date=on, by="family", stage=draw(st.sampled_from(kinds))))
    if draw(st.integers(0, 3)) == 0:
        wish = draw(st.sampled_from(PREFERENCES))
        wishes.append(decision("prefer", date=on, by="family", prefer=wish))
    if draw(st.integers(0, 3)) == 0:
        waivable = [gate.id for gate in protocol.gates if gate.waivable] + [c.id for c in protocol.contraindications]
        wishes.append(decision("waive_gate", date=on, gate=draw(st.sampled_from(waivable))))
    if draw(st.integers(0, 4)) == 0:
        courses = ("two_femoral", "one_femoral_arrest", "no_length_surgery", "prosthetic_road", "one_tibial")
        wishes.append(decision("choose_course", date=on, by="family", course=draw(st.sampled_from(courses))))
    if draw(st.integers(0, 4)) == 0:
        start = on + datetime.timedelta(days=draw(st.integers(0, 4000)))
        end = start + datetime.timedelta(days=draw(st.integers(0, 700)))
        wishes.append(decision("no_device", date=on, by="family", from_date=start, to_date=end))
    if draw(st.integers(0, 5)) == 0:
        before = on + datetime.timedelta(days=draw(st.integers(100, 5000)))
        wishes.append(decision("finish_before", date=on, by="family", before=before))
    if draw(st.integers(0, 5)) == 0:
        wishes.append(decision("at_most_lengthenings", date=on, by="family", number=draw(st.integers(0, 3))))
    if draw(st.integers(0, 5)) == 0:
        wishes.append(decision("lift_at_most", date=on, by="family", mm=draw(st.sampled_from((20.0, 40.0, 60.0)))))
    return tuple(wishes)
