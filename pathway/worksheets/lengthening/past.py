"""The visits of a lengthening as inputs of its sheet, and what they make of the turns: from the record or by hand."""

from __future__ import annotations

import datetime

from pathway.protocol.model import Bone
from pathway.worksheets.case import Case, Inputs, blank
from pathway.worksheets.lengthening.distraction import exact, rate_below
from pathway.worksheets.lengthening.films import Course, course_of, frame_of
from pathway.worksheets.lengthening.from_record import (
    AT_VISIT,
    NERVE,
    NOTHING,
    OUT_OF_JOINT,
    SLOW,
    STIFF,
    gains_on_films,
    under_way,
    wrong_since,
)
from pathway.worksheets.lengthening.ledger import Ledger, begun
from pathway.worksheets.lengthening.phases import RATE, slow_steps
from pathway.worksheets.lengthening.visits import NAME, SHAPE, Visit, read_visits, written
from pathway.worksheets.sheet import Input, Kind, problem

KIND: Kind = "lengthening"
RATE_FROM_THEN = "rate_from_then_mm_per_day"
EXAMPLE = "2029-10-10:14:13.5"


def visit_inputs(case: Case, bone: Bone) -> list[Input]:
    """Return what the visits since the operation found: turns and films, what was wrong at the last, the rate then."""
    visits = Input(name=NAME, label="visits since the operation", kind="text", written=SHAPE, optional=True)
    at_visit = Input(name="at_visit", label="found at the last visit", kind="choice", choices=AT_VISIT, value=NOTHING)
    operation = under_way(case)
    if operation is not None:
        gains, wrong = gains_on_films(case, bone, operation), wrong_since(case, operation)
        if gains:
            note = "differences of two films, each length with an error of some mm; the sheet goes by the turns"
            seen = {"origin": "visit", "measured_on": gains[-1].date, "method": gains[-1].method, "note": note}
            text = ",".join(written(gain.date, gain.mm) for gain in gains)
            visits = visits.model_copy(update={**seen, "value": text})
        if wrong is not None and gains:
            since = {"origin": "visit", "measured_on": wrong.on or operation.date}
            at_visit = at_visit.model_copy(update={**since, "value": wrong.what})
        elif wrong is not None:
            words = wrong.what.replace("_", " ")
            note = f"{words} is recorded: give the visit in visits, and the rest is planned again"
            at_visit = at_visit.model_copy(update={"note": note})
    rate = blank(case, RATE[bone], RATE_FROM_THEN, "rate from the last visit on", optional=True)
    return [visits, at_visit, rate.model_copy(update={"note": "by the stop rules if not given"})]


def visits_of(case: Case, inputs: Inputs) -> tuple[Visit, ...]:
    """Return the visits of the inputs; raises Refused for those that cannot be read."""
    text = inputs.value(NAME)
    rate, turn = case.protocol.value(RATE[_bone(inputs)]), case.protocol.value("lengthening_turn_mm")
    return () if text is None else read_visits(str(text), KIND, rate, turn)


def _bone(inputs: Inputs) -> Bone:
    return "tibia" if inputs.text("bone") == "tibia" else "femur"


def course_so_far(case: Case, inputs: Inputs, visits: tuple[Visit, ...]) -> Course:
    """Return the visits taken by the turns, with everything that is asked back."""
    bone, operation = _bone(inputs), inputs.day("operation_on")
    first = operation + datetime.timedelta(days=int(inputs.number("latency_days")) + 1)
    amount, rate, turn = (exact(inputs.number(name)) for name in ("amount_mm", "rate_mm_per_day", "turn_mm"))
    of_record = inputs.item(NAME).origin == "visit"
    mm = inputs.maybe(f"{bone}_mm")
    frame = frame_of(case.protocol, operation, first, case.on, RATE[bone], bone, mm, of_record=of_record)
    return course_of(visits, begun(amount, first, rate, turn), frame)


def ahead_of(case: Case, inputs: Inputs, course: Course) -> tuple[Ledger, Ledger]:
    """Return the ledger at the last visit, and what goes on from there by what was found, the rate set and the plan.

    What was found without a visit that can be used counts from the day of the sheet. Raises Refused for a rate or a
    finding without any visit, and for two rates from one visit on.
    """
    seen, wrong = course.seen, inputs.text("at_visit")
    chosen = inputs.maybe(RATE_FROM_THEN)
    if seen.on is None and (wrong != NOTHING or chosen is not None):
        if inputs.item(NAME).value is None:
            found = "no visit"
            raise problem(KIND, NAME, found, "the visit from which that holds", f"give it with --set {NAME}={EXAMPLE}")
        if case.on >= seen.first:
            seen = seen.visited(Visit(case.on), None)
    last = next((row.visit for row in reversed(course.rows) if row.after is not None and not row.planned), None)
    own = last is not None and last.then != ""
    if own and chosen is not None and last is not None:
        found, wanted = f"{chosen:g} mm a day beside the one of the visit of {last.on}", "one rate from that visit on"
        raise problem(KIND, RATE_FROM_THEN, found, wanted, f"give it in {NAME} alone")
    if course.held is not None:
        return seen, seen.held()
    return seen, course.ahead(_by_finding(case, seen, wrong, chosen, own)).resumed(int(inputs.number("clinic_days")))


def _by_finding(case: Case, seen: Ledger, wrong: str, chosen: float | None, own: bool) -> Ledger:
    """Return the ledger with what a finding at the last visit changes; a rate that was set goes before the rule."""
    in_force = seen.rate_mm_per_day
    if wrong == OUT_OF_JOINT:
        return seen.ordering("stop")
    if chosen is not None:
        seen = seen.ordering("rate", exact(chosen))
    elif wrong in (SLOW, NERVE) and not own and in_force is not None:
        slower = rate_below(in_force, slow_steps(case.protocol))
        seen = seen.ordering("stop") if slower is None else seen.ordering("rate", slower)
    if wrong == STIFF and not own:
        seen = seen.ordering("pause")
    return seen
