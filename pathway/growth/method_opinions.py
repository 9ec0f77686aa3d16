"""What each classical method answers for one child, side by side, or what it lacks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pathway.days import age_words
from pathway.growth import classical_methods
from pathway.growth.bones.measured import Reading, mean_length, readings
from pathway.growth.reference_curves import GrowthCurve, growth_curve, plural
from pathway.growth.skeletal_age import SKELETAL_AGE, read_near
from pathway.growth.surgery import BONES, Step
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question, pattern_of


@dataclass(frozen=True, slots=True)
class Opinion:
    """One published method's discrepancy at maturity, in mm.

    None where an input is missing; `note` then says which, otherwise what the method assumes. `sources` are
    ids of the protocol's sources.
    """

    name: str
    discrepancy_at_maturity_mm: float | None
    note: str
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Case:
    protocol: Protocol
    curve: GrowthCurve
    congenital: bool
    used: tuple[Reading, ...]
    ahead: str
    question: Question

    @property
    def last(self) -> tuple[float, float] | None:
        """Return (age, discrepancy mm) of the latest visit with a discrepancy."""
        for reading in reversed(self.used):
            if reading.discrepancy_mm is not None:
                return reading.age_years, reading.discrepancy_mm
        return None

    def apart(self) -> tuple[Reading, Reading] | None:
        """Return the first and last visit with whole legs when they are far enough apart, else None."""
        whole = [reading for reading in self.used if reading.whole_legs_mm is not None]
        least = self.protocol.number("developmental_least_months")
        if len(whole) < 2 or 12 * (whole[-1].age_years - whole[0].age_years) < least - 0.1:
            return None
        return whole[0], whole[-1]


def opinions(question: Question, *, known_steps: Sequence[Step] = ()) -> tuple[Opinion, ...]:
    """Return the answer of each classical method without operations to come, on the day `on`.

    Only visits before the first of `known_steps` count; what lengthenings among them gained is taken off the
    answer (growth after them taken as undisturbed). The straight-line and the growth-remaining method use the
    skeletal age that they were published with where one was read near the visit, the others the calendar age, and
    each note says which. Raises ValueError for lengths that cannot be.
    """
    found = readings(question)
    first = min((step.age_years for step in known_steps), default=None)
    before = found if first is None else tuple(r for r in found if r.age_years <= first)
    if first is None:
        ahead = ""
    elif before:
        ahead = " From the visits before the first operation that affects length."
    else:
        return tuple(
            Opinion(name, None, "Needs a visit before the first operation that affects length.", sources)
            for name, sources in _NAMES.items()
        )
    case = _Case(
        question.protocol,
        growth_curve(question.protocol, question.record.child.sex, "table"),
        pattern_of(question) == "congenital",
        before,
        ahead,
        question,
    )
    answers = (_congenital(case), _developmental(case), _straight_line(case), _remaining(case), _annual(case))
    gained = sum(step.adds_mm for step in known_steps if step.leg == "short")
    return tuple(_less(answer, gained) for answer in answers) if gained else answers


def _less(answer: Opinion, gained_mm: float) -> Opinion:
    if answer.discrepancy_at_maturity_mm is None:
        return answer
    left = answer.discrepancy_at_maturity_mm - gained_mm
    note = f"{answer.note} Less the {gained_mm:.0f} mm already gained."
    return replace(answer, discrepancy_at_maturity_mm=left, note=note)


_CONGENITAL = "multiplier method, constant proportion"
_DEVELOPMENTAL = "multiplier method, constant inhibition"
_LINE = "straight-line method"
_REMAINING = "growth-remaining method (from the 1964 lengths)"
_ANNUAL = "annual-growth rule"

_NAMES: dict[str, tuple[str, ...]] = {
    _CONGENITAL: ("paley_2000_multiplier",),
    _DEVELOPMENTAL: ("paley_2000_multiplier",),
    _LINE: ("moseley_1977_straight_line", "abdi_2023_same_method"),
    _REMAINING: ("anderson_1963_growth_remaining", "anderson_1964_lengths"),
    _ANNUAL: ("menelaus_1966_annual_rule",),
}


def _opinion(name: str, mm: float | None, note: str) -> Opinion:
    return Opinion(name, mm, note, _NAMES[name])


_BY_CALENDAR = " By calendar age, as published."


def _none_read(case: _Case) -> str:
    months = case.protocol.finding(SKELETAL_AGE).valid_months
    within = "" if months is None else f" within {months} months"
    return f" By calendar age: no usable skeletal age was read{within}."


def _congenital(case: _Case) -> Opinion:
    if case.last is None:
        return _opinion(_CONGENITAL, None, "Needs a measured discrepancy.")
    age, difference = case.last
    multiplier = float(case.curve.multiplier(age))
    note = f"{difference:.0f} mm at {age_words(age)} times {multiplier:.2f}; assumes a constant proportion."
    if not case.congenital:
        note += " This child's pattern is not congenital, so the assumption may not hold."
    mm = classical_methods.congenital_by_multiplier(difference, multiplier)
    return _opinion(_CONGENITAL, mm, note + _BY_CALENDAR + case.ahead)


def _need(case: _Case) -> str:
    months = case.protocol.number("developmental_least_months")
    return f"Needs femur and tibia of both legs at two visits at least {months:g} months apart."


def _developmental(case: _Case) -> Opinion:
    pair = case.apart()
    if pair is None:
        return _opinion(_DEVELOPMENTAL, None, _need(case))
    (long0, short0), (long1, short1) = pair[0].whole_legs_mm or (0, 0), pair[1].whole_legs_mm or (0, 0)
    if long1 <= long0:
        return _opinion(_DEVELOPMENTAL, None, "Needs growth of the long leg between the two visits.")
    inhibited = classical_methods.inhibition(short0, short1, long0, long1)
    multiplier = float(case.curve.multiplier(pair[1].age_years))
    mm = classical_methods.developmental_by_multiplier(long1 - short1, inhibited, long1, multiplier)
    note = f"Inhibition {inhibited:.2f} between {age_words(pair[0].age_years)} and {age_words(pair[1].age_years)}."
    return _opinion(_DEVELOPMENTAL, mm, note + _BY_CALENDAR + case.ahead)


def _straight_line(case: _Case) -> Opinion:
    whole = [reading for reading in case.used if reading.whole_legs_mm is not None]
    if case.apart() is None:
        return _opinion(_LINE, None, _need(case))
    legs = [reading.whole_legs_mm or (0.0, 0.0) for reading in whole]
    if max(long for long, _ in legs) <= min(long for long, _ in legs):
        return _opinion(_LINE, None, "Needs growth of the long leg between the visits.")
    mature, by = _mature_long_leg(case, whole)
    short = classical_methods.short_leg_by_straight_line([x for x, _ in legs], [y for _, y in legs], mature)
    note = f"Line through {len(legs)} visits to a mature long leg of {mature:.0f} mm (by the multiplier).{by}"
    return _opinion(_LINE, mature - short, note + case.ahead)


def _mature_long_leg(case: _Case, whole: Sequence[Reading]) -> tuple[float, str]:
    """Return the mature long leg in mm and by which age it was placed on the graph, in words.

    The graph has lines of skeletal age; the child's level is one horizontal line through all visits (Moseley 1977),
    here the mean of the mature lengths to which they lead. Without a skeletal age the last visit at its calendar age.
    """
    placed = [(reading, read_near(case.question, reading.date)) for reading in whole]
    known = [(r.whole_legs_mm or (0.0, 0.0), r.age_years + near.offset_years) for r, near in placed if near is not None]
    if not known:
        last = whole[-1]
        long = (last.whole_legs_mm or (0.0, 0.0))[0]
        return long * float(case.curve.multiplier(last.age_years)), _none_read(case)
    lengths = [legs[0] * float(case.curve.multiplier(skeletal)) for legs, skeletal in known]
    ages = ", ".join(f"{skeletal:.1f}" for _, skeletal in known)
    return sum(lengths) / len(lengths), f" Placed by skeletal age ({ages} years)."


def _remaining(case: _Case) -> Opinion:
    pair, whole = case.apart(), [r for r in case.used if r.whole_legs_mm is not None]
    if not whole or (pair is None and not case.congenital):
        return _opinion(_REMAINING, None, _need(case))
    last = whole[-1]
    long, short = last.whole_legs_mm or (0.0, 0.0)
    if pair is not None and (pair[0].whole_legs_mm or (0.0, 0.0))[0] < long:
        long0, short0 = pair[0].whole_legs_mm or (0.0, 0.0)
        inhibited = classical_methods.inhibition(short0, short, long0, long)
        how = f"inhibition {inhibited:.2f} between first and last visit"
    else:
        inhibited = 1 - short / long
        how = f"one usable interval is missing: inhibition {inhibited:.2f} from the proportion of the lengths"
    near = read_near(case.question, last.date)
    age = last.age_years + (0.0 if near is None else near.offset_years)
    by = _none_read(case) if near is None else f" By skeletal age ({age:.1f} years)."
    left = _long_leg_growth_left(case, age, long)
    mm = classical_methods.by_growth_remaining(long - short, inhibited, left)
    return _opinion(_REMAINING, mm, f"{left:.0f} mm of growth left in the long leg; {how}.{by}" + case.ahead)


def _long_leg_growth_left(case: _Case, age: float, long_mm: float) -> float:
    """Return the growth left in mm of a long leg that keeps its place among the 1964 lengths.

    `age` is the skeletal one where it is known: the chart of 1963 is by skeletal age.
    """
    end = max(case.protocol.table(f"amg_1964_femur_{plural(case.curve.sex)}").column("age_years"))
    now, mature = (sum(mean_length(case.protocol, case.curve, b, a)[0] for b in BONES) for a in (age, end))
    return long_mm * (mature / now - 1)


def _annual(case: _Case) -> Opinion:
    if case.last is None:
        return _opinion(_ANNUAL, None, "Needs a measured discrepancy.")
    age, difference = case.last
    end = case.protocol.number(f"annual_rule_end_{plural(case.curve.sex)}_years")
    last_years = case.protocol.number("annual_rule_last_years")
    if age < end - last_years:
        return _opinion(_ANNUAL, None, f"Meant for the last years of growth, here from {end - last_years:g} years.")
    yearly = case.protocol.number("annual_rule_discrepancy_mm")
    mm = classical_methods.by_annual_rule(difference, yearly, age, end)
    note = f"{yearly:g} mm a year until {end:g} years, whatever the pattern."
    return _opinion(_ANNUAL, mm, note + _BY_CALENDAR + case.ahead)
