"""What the lengthening worksheet says of the visits so far: their table, what is asked back, what was found."""

from __future__ import annotations

import math
from collections.abc import Iterator

from pathway.worksheets.lengthening.films import Row
from pathway.worksheets.lengthening.from_record import NOTHING
from pathway.worksheets.lengthening.past import RATE_FROM_THEN
from pathway.worksheets.lengthening.worked import Made
from pathway.worksheets.sheet import Cell, Column, Section, Table, Warning

RULE_OF = {
    "slow_regenerate": "weak_bone",
    "nerve_signs": "nerve_signs",
    "joint_contracture": "knee_flexion_40",
    "subluxation": "subluxation",
}
"""The stop rule of a stage that speaks of each thing found."""


def visits_section(of: Made) -> Iterator[Section]:
    """Yield the visits as they were taken, where there are any: by the turns, with the film beside them."""
    if not of.so_far.rows:
        return
    columns = (
        Column(title="day"),
        Column(title="date"),
        Column(title="turned since", unit="mm", places=2),
        Column(title="in all", unit="mm", places=2),
        Column(title="film", unit="mm", places=1),
        Column(title="film less turns", unit="mm", places=1),
        Column(title="from then on"),
        Column(title=""),
    )
    rows = tuple(_cells(of, row) for row in of.so_far.rows)
    rules = ("film_gap_error_mm", "film_gap_error_percent", "film_gap_least_percent", "film_gap_none_days")
    note = (
        "The gain goes by the turns, counted, or as ordered where nobody counted (*). A film is held beside them and "
        "moves none that was made: where the turns were not made, correct what was turned. After a film without a gap, "
        "with a falling one or with fewer than half of the turns nothing is turned until a later film fits."
    )
    sources = tuple(dict.fromkeys(id for rule in rules for id in of.value(rule).sources))
    marked = tuple(k for k, row in enumerate(of.so_far.rows) if row.asked)
    table = Table(title="Visits so far", columns=columns, rows=rows, note=note, sources=sources, marked=marked)
    yield Section(title="Visits so far", tables=(table,))


def _cells(of: Made, row: Row) -> tuple[Cell, ...]:
    turned = None if row.turned_mm is None else float(row.turned_mm)
    film = row.visit.film_mm
    shown = film if film is not None and math.isfinite(film) else None
    reached = None if row.reached_mm is None else float(row.reached_mm)
    beside = None if shown is None or reached is None or row.planned else shown - reached
    day = (row.visit.on - of.given.operation).days
    return day, row.visit.on, turned, reached, shown, beside, _then(of, row), _remark(row)


def _then(of: Made, row: Row) -> str:
    if row.after is None:
        return "left out"
    if row.halts or (of.given.held and row is of.so_far.taken[-1]):
        return "no turns"
    follows = of.given.follows
    if follows is not None and of.so_far.taken and row is of.so_far.taken[-1]:
        changed = row.visit.then or of.inputs.text("at_visit") != NOTHING or of.inputs.maybe(RATE_FROM_THEN) is not None
        if follows.then in ("pause", "stop"):
            return follows.then
        if changed and follows.rate_mm_per_day is not None:
            return f"{float(follows.rate_mm_per_day):g} mm a day"
    if row.visit.then in ("pause", "stop"):
        return row.visit.then
    rate = row.after.rate_mm_per_day
    return "as before" if not row.visit.then or rate is None else f"{float(rate):g} mm a day"


def _remark(row: Row) -> str:
    said = [f"asked back: {question.short}" for question in row.asked]
    said += [] if row.counted or row.after is None or row.planned else ["*"]
    said += ["planned"] if row.planned else []
    return "; ".join(said)


def visit_warnings(of: Made) -> Iterator[Warning]:
    """Yield everything that is asked back, then what was found at the last visit."""
    for question in of.so_far.questions:
        sources = of.value(question.rule).sources if question.rule else ()
        yield Warning(text=question.text, rule=question.rule, sources=sources, stop=question.stop)
    recorded = of.inputs.item("at_visit")
    if recorded.note:
        yield Warning(text=recorded.note[0].upper() + recorded.note[1:] + ".")
    yield from _found(of)


def _found(of: Made) -> Iterator[Warning]:
    wrong = of.inputs.text("at_visit")
    if wrong == NOTHING:
        return
    rule = next((r for r in of.case.protocol.stop_rules if r.id == f"{of.kind}.{RULE_OF[wrong]}"), None)
    said = rule.text if rule is not None else ""
    on = of.given.seen.on if of.given.seen is not None else of.case.on
    text, follows = f"Found on {on}: {wrong.replace('_', ' ')}.", of.given.follows
    stop = follows is None or follows.then == "stop" or follows.against != ""
    if of.given.held:
        text = f"{text} Nothing is turned until the film is repeated."
    elif follows is None or follows.then == "stop":
        text = f"{text} Distraction ends at {float(of.course.gain_mm):g} mm."
    elif follows.against:
        text = f"{text} {follows.against}"
    elif follows.then == "pause":
        text = f"{text} No turns until the next visit, then reassess."
    elif follows.rate_mm_per_day is not None:
        text = f"{text} The calendar continues at {float(follows.rate_mm_per_day):g} mm a day."
    yield Warning(
        text=f"{text} {said}".strip(), rule=rule.id if rule else "", sources=rule.sources if rule else (), stop=stop
    )
