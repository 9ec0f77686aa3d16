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
from pathway.worksheets.lengthening.phases import RATE, Follows, slow_steps
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
    _check_days(case, inputs, visits)
    frame = frame_of(case.protocol, first, case.on, RATE[bone], bone, mm, of_record=of_record)
    return course_of(visits, begun(amount, first, rate, turn), frame)


def _check_days(case: Case, inputs: Inputs, visits: tuple[Visit, ...]) -> None:
    """Raise Refused for a visit or a finding of a day before the operation."""
    operation, expected = inputs.day("operation_on"), "a day after the operation"
    for visit in visits:
        if visit.on < operation:
            found = f"a visit on {visit.on}, before the operation on {operation}"
            raise problem(KIND, NAME, found, expected, "correct its day, or operation_on")
    wrong, item = inputs.text("at_visit"), inputs.item("at_visit")
    seen = [visit.on for visit in visits if visit.on <= case.on]
    on = item.measured_on or (seen[-1] if seen else case.on)
    told = item.measured_on is not None or inputs.item(NAME).value is not None
    if wrong != NOTHING and told and on < operation:
        found = f"{wrong} found on {on}, before the operation on {operation}"
        raise problem(KIND, "at_visit", found, expected, "give its visit in visits, or correct operation_on or --on")


def ahead_of(case: Case, inputs: Inputs, course: Course) -> tuple[Ledger, Ledger, Follows]:
    """Return the ledger at the last visit, what goes on from there by what was found, the rate set and the plan.

    The third is what holds from that visit on, in short.

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
    # A joint that is out, and a film that may mean bone grown together, go before every order.
    if course.held is not None or wrong == OUT_OF_JOINT:
        return seen, seen.held(), Follows("stop")
    then = _by_finding(case, seen, wrong, chosen, own)
    against = _against(case, inputs, course, chosen)
    ahead = course.ahead(then).resumed(int(inputs.number("clinic_days")))
    if then.resting:
        return seen, ahead, Follows("pause", against=against)
    stops = then.rate_mm_per_day is None or then.reached_mm > then.amount_mm
    return seen, ahead, Follows("stop" if stops else "rate", then.rate_mm_per_day, against)


def _against(case: Case, inputs: Inputs, course: Course, chosen: float | None) -> str:
    """Return in words which rate is ordered against the rule of what was found, from the last visit on or later."""
    wrong = inputs.text("at_visit")
    if wrong not in (SLOW, NERVE, STIFF):
        return ""
    taken = course.taken
    before = taken[-2].after if len(taken) > 1 else None
    usual = exact(inputs.number("rate_mm_per_day"))
    in_force = usual if before is None else before.rate_mm_per_day
    last = [taken[-1].visit.rate_mm_per_day] if taken else []
    later = [row.visit.rate_mm_per_day for row in course.rows if row.planned]
    rates = [rate for rate in (*last, *later, None if chosen is None else exact(chosen)) if rate is not None]
    if not rates:
        return ""
    if wrong == STIFF:
        fits, rule = in_force is not None and max(rates) < in_force, "slows below the rate before or stops"
    else:
        slower = None if in_force is None else rate_below(in_force, slow_steps(case.protocol))
        fits = slower is not None and max(rates) <= slower
        rule = "stops" if slower is None else f"slows to {float(slower):g} mm a day"
    return "" if fits else f"Ordered: {float(max(rates)):g} mm a day, against the rule, which {rule}."


def _by_finding(case: Case, seen: Ledger, wrong: str, chosen: float | None, own: bool) -> Ledger:
    """Return the ledger with what a finding at the last visit changes; a rate that was set goes before the rule."""
    in_force = seen.rate_mm_per_day
    if chosen is not None:
        seen = seen.ordering("rate", exact(chosen))
    elif wrong in (SLOW, NERVE) and not own and in_force is not None:
        slower = rate_below(in_force, slow_steps(case.protocol))
        seen = seen.ordering("stop") if slower is None else seen.ordering("rate", slower)
    if wrong == STIFF and not own and chosen is None:
        seen = seen.ordering("pause")
    return seen
