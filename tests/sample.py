"""Invented children for tests, built from a few words: what is not said is that of a child ready for surgery."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Literal

from pathway.days import day_at_age
from pathway.protocol.load import load_protocol
from pathway.record import (
    CaseCalendar,
    Child,
    Decision,
    Measurement,
    Missing,
    Operation,
    Record,
    Sex,
    Side,
    Value,
    Visit,
)

BORN = datetime.date(2022, 3, 14)
FILM = "standing_full_length_film"

OF_CHILD = frozenset(rule.id for rule in load_protocol().findings if rule.of == "child")

HEALTHY: Mapping[str, Value] = {
    "neck_shaft_angle_deg": 130.0,
    "hilgenreiner_epiphyseal_angle_deg": 25.0,
    "center_edge_angle_deg": 28.0,
    "acetabular_index_deg": 18.0,
    "femoral_version_deg": 20.0,
    "hip_joint": "reduced",
    "hip_mobile": True,
    "hip_flexion_contracture_deg": 0.0,
    "proximal_femur_ossification": "normal",
    "proximal_femur_continuity": "bone",
    "femoral_head": "mobile",
    "femoral_shaft": "reaches_socket",
    "femoral_deficiency_site": "proximal",
    "knee_motion_arc_deg": 130.0,
    "knee_flexion_deg": 135.0,
    "knee_flexion_contracture_deg": 0.0,
    "knee_dislocated": False,
    "patella_dislocated": False,
    "knee_instability": "none",
    "lateral_distal_femoral_angle_deg": 87.0,
    "ankle_type": "stable_normal",
    "foot_plantigrade": "yes",
    "active_infection": False,
    "therapy_arranged": True,
}
"""Findings with which every gate of the femoral road holds and no preparation is asked for."""

SHALLOW_AND_BENT: Mapping[str, Value] = {**HEALTHY, "center_edge_angle_deg": 12.0, "neck_shaft_angle_deg": 78.0}
"""A shallow socket and severe varus: hip preparation and osteotomy come first."""

LEGS: Mapping[str, float] = {
    "affected.femur_length_mm": 170.0,
    "affected.tibia_length_mm": 190.0,
    "other.femur_length_mm": 260.0,
    "other.tibia_length_mm": 205.0,
}
"""A boy of five, femur two thirds of the other."""


def side_of(leg: str, affected: Side) -> Side:
    other: Side = "right" if affected == "left" else "left"
    return affected if leg == "affected" else other


def measured(finding: str, value: Value, side: Side = "left", method: str = "examination") -> Measurement:
    return Measurement(finding=finding, side=None if finding in OF_CHILD else side, value=value, method=method)


def visit(
    date: datetime.date,
    findings: Mapping[str, Value] | None = None,
    *,
    side: Side = "left",
    missing: tuple[Missing, ...] = (),
    skeletal_age: float | None = None,
    method: str = FILM,
) -> Visit:
    """Return a visit; a finding's name may begin with `other.` or `affected.` to say the leg."""
    items = []
    for name, value in (findings or {}).items():
        leg, _, finding = name.rpartition(".")
        items.append(measured(finding, value, side_of(leg or "affected", side), method))
    return Visit(date=date, method=method, measurements=tuple(items), missing=missing, skeletal_age_years=skeletal_age)


def child(
    *visits: Visit,
    operations: tuple[Operation, ...] = (),
    decisions: tuple[Decision, ...] = (),
    born: datetime.date = BORN,
    sex: Sex = "boy",
    side: Literal["left", "right", "both"] = "left",
    diagnosis: str = "congenital_femoral_deficiency",
    calendar: CaseCalendar | None = None,
) -> Record:
    who = Child(id="test-01", date_of_birth=born, sex=sex, affected_side=side, diagnosis=diagnosis)
    return Record(child=who, visits=visits, operations=operations, decisions=decisions, calendar=calendar)


def at_age(age: float, born: datetime.date = BORN) -> datetime.date:
    return day_at_age(born, age)


def five_year_old(
    findings: Mapping[str, Value] = HEALTHY,
    *,
    operations: tuple[Operation, ...] = (),
    decisions: tuple[Decision, ...] = (),
    without: tuple[str, ...] = (),
    diagnosis: str = "congenital_femoral_deficiency",
    sex: Sex = "boy",
) -> Record:
    """Return a child measured at five, `without` some of the findings."""
    known = {name: value for name, value in {**findings, **LEGS}.items() if name not in without}
    seen = visit(at_age(5), known)
    return child(seen, operations=operations, decisions=decisions, diagnosis=diagnosis, sex=sex)


ON = at_age(5) + datetime.timedelta(days=14)
"""The day of the plan of `five_year_old`: two weeks after the visit."""


def operation(kind: str, date: datetime.date, *, side: Side = "left", **details: object) -> Operation:
    return Operation.model_validate({"kind": kind, "date": date, "side": side, **details})


def decision(kind: str, *, date: datetime.date = ON, **details: object) -> Decision:
    base = {"date": date, "by": "team", "kind": kind, "reason": "said at the visit"}
    return Decision.model_validate({**base, **details})


def with_notes(record: Record, words: str) -> Record:
    """Return the child with a note wherever a person may type one; decisions stay."""
    visits = tuple(
        visit.model_copy(
            update={
                "note": words,
                "measurements": tuple(item.model_copy(update={"note": words}) for item in visit.measurements),
                "missing": tuple(item.model_copy(update={"note": words}) for item in visit.missing),
            }
        )
        for visit in record.visits
    )
    operations = tuple(item.model_copy(update={"note": words}) for item in record.operations)
    child = record.child.model_copy(update={"note": words})
    return record.model_copy(update={"child": child, "visits": visits, "operations": operations})
