"""What holds for every worksheet and every plausible input."""

from __future__ import annotations

import datetime
import math
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathway.problems import Refused
from pathway.protocol.question import Question
from pathway.worksheets.case import Case, case_of
from pathway.worksheets.growth_arrest.prevented import CHOICES, growth_left
from pathway.worksheets.guided_growth.steering import growing, growth_for
from pathway.worksheets.kinds import KINDS, stage_of
from pathway.worksheets.lengthening.axis_shift import axis_shift
from pathway.worksheets.lengthening.distraction import exact, rate_below
from pathway.worksheets.lengthening.worksheet import worked
from pathway.worksheets.lift.heights import lift_for, lift_limits
from pathway.worksheets.sheet import CHECK_THE_RADIOGRAPH, Input, Kind, Sheet
from tests.examples import ON, example
from tests.made_once import made_once
from tests.worksheets.cases import KNOWN_WIDTH, by_hand, case, growth_of, mirrored, planned, protocol, sheet, turnings

MADE: tuple[Kind, ...] = ("osteotomy", "lengthening", "growth-arrest", "guided-growth", "lift", "axis")
DAY = datetime.date(2030, 3, 14)
quarters = st.integers(1, 600).map(lambda n: Fraction(n, 4))
hundredths = st.integers(1, 15000).map(lambda n: Fraction(n, 100))
rates = st.sampled_from([Fraction(n, 100) for n in (10, 25, 33, 50, 60, 75, 80, 100, 125, 150, 200)])


@given(
    amount=hundredths, rate=rates, turn=st.sampled_from([Fraction(1, 20), Fraction(1, 4), Fraction(1, 3), Fraction(1)])
)
def test_the_calendar_adds_up_to_the_amount_exactly(amount: Fraction, rate: Fraction, turn: Fraction) -> None:
    days = turnings(amount, rate, turn, DAY)
    assert sum(day.mm for day in days) == amount
    assert days[-1].reached_mm == amount
    assert [day.date for day in days] == [DAY + datetime.timedelta(days=k) for k in range(len(days))]


@given(amount=hundredths, rate=rates, already=st.fractions(0, 1))
def test_a_replanned_calendar_adds_up_to_what_is_left(amount: Fraction, rate: Fraction, already: Fraction) -> None:
    reached = amount * already
    days = turnings(amount, rate, Fraction(1, 4), DAY, reached)
    assert reached + sum(day.mm for day in days) == amount


@given(amount=quarters, rate=rates)
def test_turns_never_run_ahead_of_the_rate_nor_fall_a_turn_behind(amount: Fraction, rate: Fraction) -> None:
    turn = Fraction(1, 4)
    for k, day in enumerate(turnings(amount, rate, turn, DAY), 1):
        assert day.reached_mm <= k * rate
        assert day.reached_mm == amount or day.reached_mm > k * rate - turn


@given(rate=rates)
def test_slowing_down_ends_in_a_stop(rate: Fraction) -> None:
    steps = (Fraction(3, 4), Fraction(1, 2), Fraction(1, 4))
    now: Fraction | None = rate
    for _ in range(4):
        after = rate_below(now, steps) if now is not None else None
        assert after is None or now is None or after < now
        now = after
    assert now is None


@settings(max_examples=40, deadline=None)
@given(
    amount=st.integers(4, 320).map(lambda n: n / 4),
    slow=st.sampled_from((0.25, 0.5, 0.75)),
    latency=st.integers(0, 21),
)
def test_a_slower_rate_never_brings_the_device_off_sooner(amount: float, slow: float, latency: int) -> None:
    base = {"amount_mm": str(amount), "latency_days": str(latency)}
    usual = worked(by_hand(), base).course
    slowed = worked(by_hand(), {**base, "rate_mm_per_day": str(slow)}).course
    assert slowed.end >= usual.end
    for name in ("low", "mid", "high"):
        assert getattr(slowed.removal, name) >= getattr(usual.removal, name)
    assert usual.removal.low <= usual.removal.mid <= usual.removal.high
    assert usual.walking.low <= usual.walking.mid <= usual.walking.high


@given(
    femur=st.floats(60, 500),
    tibia=st.floats(60, 450),
    angle=st.floats(0, 12),
    gain=st.floats(0, 150),
)
def test_the_axis_shift_is_that_of_the_points(femur: float, tibia: float, angle: float, gain: float) -> None:
    # A second route: hip at the origin, knee straight below, shaft tilted by the angle, ankle below the knee.
    turn = math.radians(angle)
    knee = (gain * math.sin(turn), -(femur + gain * math.cos(turn)))
    ankle = (knee[0], knee[1] - tibia)
    cross = abs(knee[0] * ankle[1] - knee[1] * ankle[0])
    found = axis_shift(femur, tibia, angle, gain)
    assert found.axis_outward_mm == pytest.approx(cross / math.hypot(*ankle), abs=1e-6)
    assert found.knee_inward_mm == pytest.approx(knee[0], abs=1e-9)
    assert found.axis_outward_mm <= found.knee_inward_mm + 1e-9
    assert found.axes_angle_deg <= angle + 1e-9


@pytest.mark.parametrize("plates", CHOICES)
@settings(max_examples=30, deadline=None)
@given(ages=st.lists(st.floats(2.8, 16), min_size=2, max_size=6))
def test_a_later_growth_arrest_never_corrects_more(plates: str, ages: list[float]) -> None:
    posterior = planned()[1]
    assert posterior is not None
    left = growth_left(posterior)[plates]
    found = [left.at(age) for age in sorted(ages)]
    for (sooner, sooner_draws), (later, later_draws) in pairwise(found):
        assert later <= sooner
        assert (later_draws <= sooner_draws).all()


@settings(max_examples=30, deadline=None)
@given(mm=st.floats(1, 150))
def test_the_age_of_an_arrest_is_the_one_at_which_that_growth_is_left(mm: float) -> None:
    posterior = planned()[1]
    assert posterior is not None
    left = growth_left(posterior)["both"]
    age = left.age_for(mm)
    assert age is None or left.at(age)[0] == pytest.approx(mm, abs=1e-6)


def test_both_plates_prevent_what_each_alone_prevents_together() -> None:
    posterior = planned()[1]
    assert posterior is not None
    femur, tibia, both = (growth_left(posterior)[name] for name in ("distal_femur", "proximal_tibia", "both"))
    assert both.at(9.0)[0] == pytest.approx(femur.at(9.0)[0] + tibia.at(9.0)[0])


@settings(max_examples=30, deadline=None)
@given(angle=st.floats(0.5, 40), more=st.floats(0, 5), width=st.floats(15, 110))
def test_a_larger_angle_or_a_wider_plate_takes_longer(angle: float, more: float, width: float) -> None:
    posterior = planned()[1]
    assert posterior is not None
    grows = growing(posterior, "distal_femur", posterior.age_years)
    small = grows.months_until(growth_for(angle, width))[0]
    large = grows.months_until(growth_for(angle + more, width))[0]
    wide = grows.months_until(growth_for(angle, width + more))[0]
    for longer in (large, wide):
        assert longer is None or (small is not None and small <= longer + 1e-9)


@given(mm=st.floats(0, 400))
def test_a_lift_and_what_is_left_make_up_the_difference(mm: float) -> None:
    limits = lift_limits(protocol())
    lift = lift_for(mm, limits)
    assert lift.height_mm + lift.left_mm == pytest.approx(mm)
    assert lift.height_mm % limits.step_mm == 0
    assert lift == lift_for(-mm, limits)
    assert lift.left_mm >= limits.less_mm - 1e-9 or mm < limits.from_mm


def visits_texts() -> st.SearchStrategy[str]:
    """Return texts of visits of a lengthening, most of which cannot be."""
    days = st.dates(datetime.date(2024, 3, 15), datetime.date(2030, 12, 31)).map(str)
    parts = st.tuples(
        days,
        st.sampled_from(("-", "14", "28t", "0", "140")),
        st.sampled_from(("13.5", "nan", "-3", "0")),
        st.sampled_from(("-", "0.75", "1x3", "pause", "stop")),
    )
    return st.lists(parts.map(":".join), min_size=1, max_size=4).map(",".join)


def values_for(item: Input) -> st.SearchStrategy[str]:
    low, high = item.plausible or (0.0, 100.0)
    if item.kind == "choice":
        return st.sampled_from(item.choices)
    if item.kind == "flag":
        return st.sampled_from(("yes", "no"))
    if item.kind == "text":
        return visits_texts()
    if item.kind == "day":
        return st.dates(datetime.date(2024, 3, 15), datetime.date(2044, 12, 31)).map(str)
    if item.kind == "whole":
        return st.integers(math.ceil(low), math.floor(high)).map(str)
    return st.floats(low, high).map(lambda number: repr(round(min(max(number, low), high), 3)))


def some_settings(data: st.DataObject, of: Sheet) -> dict[str, str]:
    names = data.draw(st.lists(st.sampled_from([item.name for item in of.inputs if item.settable]), unique=True))
    return {name: data.draw(values_for(of.input(name)), label=name) for name in names}


@pytest.mark.parametrize("kind", MADE)
@pytest.mark.parametrize("planless", [False, True])
@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_every_output_is_finite_for_plausible_inputs_or_the_error_says_what_to_do(
    kind: Kind, planless: bool, data: st.DataObject
) -> None:
    opened: Case = by_hand() if planless else case(kind)
    known = KNOWN_WIDTH if kind == "guided-growth" else {"amount_mm": "50"} if kind == "lengthening" else {}
    if kind == "growth-arrest":
        known = {"correction_mm": "40"}
    chosen = some_settings(data, sheet(kind, KNOWN_WIDTH if kind == "guided-growth" else {}))
    if planless is False and kind == "lengthening":
        chosen.pop("bone", None)
    try:
        made = KINDS[kind].make(opened, {**known, **chosen})
    except Refused as error:
        assert all(fault.found and fault.expected and fault.remedy for fault in error.problems)
        assert all(fault.key for fault in error.problems)
        return
    numbers = [line.value for section in made.sections for line in section.lines]
    numbers += [cell for section in made.sections for table in section.tables for row in table.rows for cell in row]
    assert all(math.isfinite(number) for number in numbers if isinstance(number, float))
    assert {name: made.input(name).origin for name in chosen} == dict.fromkeys(chosen, "by_hand")


# The osteotomy has turns, whose sense a mirror reverses: its own tests hold it.
@pytest.mark.parametrize("kind", MADE[1:])
def test_left_is_the_mirror_image_of_right(kind: Kind) -> None:
    other = mirrored(example("rowan-02"))
    plan = made_once(Question(other, protocol(), ON), compared=False)
    opened = case_of(
        Question(other, protocol(), ON), plan, stage_of(kind, plan, protocol(), None), growth_of(other, ON)
    )
    known = KNOWN_WIDTH if kind == "guided-growth" else {}
    here, there = sheet(kind, known), KINDS[kind].make(opened, known)
    assert here.side != there.side
    # Drawings show the knee as the viewer sees it: their own tests hold the mirror.
    assert here.model_copy(update={"side": there.side, "drawings": there.drawings}) == there


@pytest.mark.parametrize("kind", MADE)
def test_every_sheet_has_inputs_with_origin_cautions_and_the_radiograph(kind: Kind) -> None:
    made = sheet(kind, KNOWN_WIDTH if kind == "guided-growth" else {})
    assert made.cautions[0].startswith("Planning aid: the treating surgeon decides; follow local protocol")
    assert made.cautions[-1] == CHECK_THE_RADIOGRAPH
    for item in made.inputs:
        if item.origin == "protocol":
            assert item.sources or item.note
        if item.origin == "visit":
            assert item.measured_on is not None
    cited = {id for item in made.inputs for id in item.sources}
    assert cited <= {source.id for source in made.sources}


def test_numbers_are_kept_as_written() -> None:
    assert exact(0.1) == Fraction(1, 10)
    assert exact(51.25) == Fraction(205, 4)
