"""What an osteotomy of the upper femur was planned to do, and what the films after it show."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Mapping

from pathway.days import Day, add_months
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Frozen, Operation, OsteotomyPlan, Record, Side
from pathway.upper_femur.model import Femur, Plan, solved

WITHIN = "osteotomy_achieved_within_months"
FINDINGS: Mapping[str, str] = {
    "neck_shaft_after_deg": "neck_shaft_angle_deg",
    "version_after_deg": "femoral_version_deg",
    "flexion_after_deg": "proximal_femur_flexion_deg",
    "epiphyseal_after_deg": "hilgenreiner_epiphyseal_angle_deg",
}
"""Which finding of a film after it shows each quantity."""
TURNS = ("valgus_deg", "extension_deg", "rotation_deg")
READ: Mapping[str, tuple[str, int]] = {
    "neck_shaft_after_deg": ("neck_shaft_deg", 1),
    "version_after_deg": ("version_deg", 1),
    "flexion_after_deg": ("flexion_deg", 1),
    "epiphyseal_after_deg": ("epiphyseal_deg", 1),
    "valgus_deg": ("neck_shaft_deg", 2),
    "extension_deg": ("flexion_deg", 2),
    "rotation_deg": ("version_deg", 2),
}
"""Whose error of reading (`osteotomy_error_…`) stands in each difference, and on how many films."""
_ANY_MM = 10.0
"""Stands in for the sizes of the bone: angles do not hang on them."""


class Difference(Frozen):
    """One quantity as planned and as the film after shows it; `achieved` is None where no film tells.

    `reading_sd` is what reading the films alone would make of it, one SD, None where the rules have none.
    """

    name: str
    planned: float
    achieved: float | None
    reading_sd: float | None

    @property
    def difference(self) -> float | None:
        """Return what was achieved less what was planned, None where no film tells."""
        return None if self.achieved is None else self.achieved - self.planned


class Achieved(Frozen):
    """One osteotomy whose sheet was kept; `film_on` is the first day on which a film shows its neck-shaft angle."""

    child: str
    side: Side
    on: Day
    implant_deg: float
    film_on: Day | None
    differences: tuple[Difference, ...]

    def of(self, name: str) -> Difference | None:
        """Return the difference of a quantity, None where the sheet did not plan it."""
        return next((one for one in self.differences if one.name == name), None)


def achieved(question: Question) -> tuple[Achieved, ...]:
    """Return every osteotomy of a child whose sheet was kept, with what the films up to the day of the question show.

    A turn is worked out by the model of the bone from the angles before and after, in the frame of the sheet.
    """
    record = question.record.until(question.on)
    return tuple(_of_each(record, question.protocol))


def without_sheet(question: Question) -> tuple[Operation, ...]:
    """Return the osteotomies of the upper femur whose sheet nobody kept."""
    done = question.record.until(question.on).operations
    return tuple(one for one in done if one.planned is None and _corrects(one, question.protocol))


def _of_each(record: Record, protocol: Protocol) -> Iterator[Achieved]:
    within = round(protocol.number(WITHIN))
    for at, one in enumerate(record.operations):
        if one.planned is None:
            continue
        again = (later.date for later in record.operations[at + 1 :] if _again(one, later, protocol))
        until = min((add_months(one.date, within), *again))
        shown = {name: _film(record, one, finding, until) for name, finding in FINDINGS.items()}
        film = shown["neck_shaft_after_deg"]
        yield Achieved(
            child=record.child.id,
            side=one.side,
            on=one.date,
            implant_deg=one.planned.implant_deg,
            film_on=None if film is None else film[1],
            differences=tuple(_differences(one, one.planned, {n: v[0] for n, v in shown.items() if v}, protocol)),
        )


def _corrects(one: Operation, protocol: Protocol) -> bool:
    return protocol.stage(one.kind).role == "neck_shaft_correction"


def _again(one: Operation, later: Operation, protocol: Protocol) -> bool:
    return later.side == one.side and later.date > one.date and _corrects(later, protocol)


def _film(record: Record, one: Operation, finding: str, until: datetime.date) -> tuple[float, datetime.date] | None:
    """Return the first value of a finding of the side after the operation, with its day."""
    for visit in record.visits:
        if one.date < visit.date <= until:
            for item in visit.measurements:
                if item.finding == finding and item.side == one.side:
                    return float(item.value), visit.date
    return None


def _differences(
    one: Operation, planned: OsteotomyPlan, films: Mapping[str, float], protocol: Protocol
) -> Iterator[Difference]:
    aimed: dict[str, float | None] = {
        "neck_shaft_after_deg": planned.neck_shaft_after_deg,
        "version_after_deg": planned.version_after_deg,
        "flexion_after_deg": planned.flexion_before_deg - planned.extension_deg,
        **{name: getattr(planned, name) for name in TURNS},
        "epiphyseal_after_deg": planned.epiphyseal_after_deg,
        "length_gain_mm": planned.length_gain_mm,
    }
    reached: dict[str, float] = {**films, **_turn(planned, films)}
    if one.achieved_mm is not None:
        reached["length_gain_mm"] = one.achieved_mm
    for name, value in aimed.items():
        if value is not None:
            rule, times = READ.get(name, ("", 0))
            sd = protocol.number(f"osteotomy_error_{rule}") * math.sqrt(times) if rule else None
            yield Difference(name=name, planned=value, achieved=reached.get(name), reading_sd=sd)


def _turn(planned: OsteotomyPlan, films: Mapping[str, float]) -> dict[str, float]:
    """Return the turn that brings the bone before to what the films show; nothing where too little is measured.

    Where nobody measured the flexion left, the extension counts as it was planned and is not told.
    """
    if not {"neck_shaft_after_deg", "version_after_deg"} <= films.keys():
        return {}
    measured = films.get("flexion_after_deg")
    turned = planned.extension_deg if measured is None else planned.flexion_before_deg - measured
    bone = Femur(
        side="left",
        neck_shaft_deg=planned.neck_shaft_before_deg,
        version_deg=planned.version_before_deg,
        flexion_deg=turned,
        flexion_frame=planned.flexion_frame,
        epiphyseal_deg=None,
        neck_mm=_ANY_MM,
        shaft_width_mm=_ANY_MM,
        neck_width_mm=_ANY_MM,
        neck_depth_mm=_ANY_MM,
        neck_wire_mm=_ANY_MM,
        length_mm=_ANY_MM,
    )
    wanted = Plan(
        neck_shaft_deg=films["neck_shaft_after_deg"],
        version_deg=films["version_after_deg"],
        implant_deg=films["neck_shaft_after_deg"],
        wire_through_mm=0.0,
        cut_below_corner_mm=0.0,
        blade_mm=0.0,
    )
    found = solved(bone, wanted).numbers
    told = (name for name in TURNS if name != "extension_deg" or measured is not None)
    return {name: value for name in told if (value := found.get(name)) is not None}
