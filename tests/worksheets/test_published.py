"""Worked examples from print, within their printed rounding; the citation stands beside each."""

from __future__ import annotations

import datetime
from fractions import Fraction

import pytest

from pathway.growth import growth_curve
from pathway.growth.classical_methods import arrest_by_annual_rule
from pathway.protocol.model import Bone
from pathway.record import Sex
from pathway.worksheets.growth_arrest.methods import (
    MatureLegs,
    by_annual_rule,
    by_growth_remaining,
    by_multiplier,
    by_straight_line,
)
from pathway.worksheets.guided_growth.steering import rate_deg_per_month
from pathway.worksheets.lengthening.axis_shift import axis_shift
from pathway.worksheets.lengthening.distraction import exact
from pathway.worksheets.lengthening.ledger import begun
from pathway.worksheets.lengthening.phases import LengtheningInputs, Span, index_span, phases
from tests.worksheets.cases import protocol, sheet, turnings

DAY = datetime.date(2030, 3, 14)


def course(bone: Bone, mm: float, index: float, rate: float, latency: int = 7) -> tuple[int, int]:
    """Return days from operation to the end of distraction and to removal."""
    once = Span(0.0, 0.0, 0.0)
    given = LengtheningInputs(
        bone=bone,
        amount_mm=exact(mm),
        operation=DAY,
        latency_days=latency,
        rate_mm_per_day=exact(rate),
        turn_mm=Fraction(1, 4),
        index=Span(index, index, index),
        protected_weeks=once,
        weight_weeks=once,
        ahead=begun(exact(mm), DAY + datetime.timedelta(days=latency + 1), exact(rate), Fraction(1, 4)),
    )
    found = phases(given, protocol())
    return (found.end - DAY).days, round(found.removal.mid)


@pytest.mark.parametrize(("rate", "days", "with_rest"), [(1.0, 50, 57), (0.75, 67, 74)])
def test_five_cm_are_50_days_at_a_millimetre_and_67_at_three_quarters(rate: float, days: int, with_rest: int) -> None:
    # Arithmetic on the usual rate: 1 mm a day in four steps after 5 to 7 days of rest. Bone regenerate evaluation
    # methods, review, Rev Bras Ortop, 10.1055/s-0043-1776021; 0.75 mm: J Bone Joint Surg Br 92-B Supp III.
    assert len(turnings(Fraction(50), exact(rate), Fraction(1, 4), DAY)) == days
    assert course("femur", 50, 36.5, rate)[0] == with_rest


@pytest.mark.parametrize(
    ("index", "printed"),
    [
        # One month a cm, children, one level: Paley D. Clin Orthop 1990;250:81-104.
        (30.0, (90, 120, 150, 180, 240)),
        # 36.5 days/cm, femur, 41 segments: Isaac D et al. Skeletal Radiol, 10.1007/s00256-007-0406-3.
        (36.5, (110, 146, 182, 219, 292)),
        # 57 days/cm, femur, ring, 240 procedures: Depaoli A et al. Children 2023;10:1586.
        (57.0, (171, 228, 285, 342, 456)),
    ],
)
def test_days_in_the_device_are_the_published_index_times_the_gain(index: float, printed: tuple[int, ...]) -> None:
    # 3, 4, 5, 6 and 8 cm; rounded to whole days, halves either way.
    for cm, days in zip((3, 4, 5, 6, 8), printed, strict=True):
        assert course("femur", 10 * cm, index, 1.0)[1] == pytest.approx(days, abs=0.5)


def test_five_cm_take_150_to_285_days_across_published_means() -> None:
    # From 30 days/cm (Paley 1990) to 57 (Depaoli 2023); 36.5 (Isaac) in the middle: 182.
    made = sheet("lengthening", {"amount_mm": "50"})
    line, operation = made.line("Device comes off"), made.input("operation_on").value
    assert isinstance(operation, datetime.date)
    assert line.spread is not None
    days = [(day - operation).days for day in (*line.spread, line.value)]  # type: ignore[operator]
    assert days == [150, 285, 182]
    span = index_span(protocol(), "femur", 36.5)
    assert (span.low, span.high) == (30.0, 57.0)


def test_index_less_maturation_is_rest_and_distraction_in_every_group_of_callus() -> None:
    # Isaac D et al., 41 femora, mean gain 6.2 cm: the difference is 10.4 to 13.4 days/cm in all eight groups, against
    # 11.1 for 7 days of rest and 1 mm a day. The course counts on this identity.
    for _, index, maturation in protocol().table("healing_by_callus").rows:
        assert 10.35 <= float(index) - float(maturation) <= 13.45
    end, removal = course("femur", 62, 36.5, 1.0)
    assert end / 6.2 == pytest.approx(11.1, abs=0.05)
    assert removal / 6.2 == pytest.approx(36.5, abs=0.1)


@pytest.mark.parametrize(
    ("femur", "tibia", "angle", "gain", "after", "valgus", "inward", "outward"),
    [
        # Computed for this project from the law of the triangle and confirmed by coordinates; printed to 0.01 and 0.1.
        (300, 240, 6, 30, 5.46, 0.54, 3.1, 1.3),
        (300, 240, 6, 60, 5.00, 1.00, 6.3, 2.5),
        (250, 200, 7, 60, 5.65, 1.35, 7.3, 2.9),
        (400, 340, 6, 50, 5.33, 0.67, 5.2, 2.3),
    ],
)
def test_lengthening_along_the_shaft_shifts_the_axis(
    femur: float, tibia: float, angle: float, gain: float, after: float, valgus: float, inward: float, outward: float
) -> None:
    shift = axis_shift(femur, tibia, angle, gain)
    assert shift.axes_angle_deg == pytest.approx(after, abs=0.006)
    assert shift.valgus_deg == pytest.approx(valgus, abs=0.006)
    assert shift.knee_inward_mm == pytest.approx(inward, abs=0.06)
    assert shift.axis_outward_mm == pytest.approx(outward, abs=0.06)


def test_ten_percent_longer_lowers_the_angle_of_the_axes_by_half_a_degree() -> None:
    # Emara 2017, World J Orthop 8:431-435: +10 % length lowers the angle by 0.57 deg (a typical angle is assumed).
    assert 6.3 - axis_shift(400, 350, 6.3, 40).axes_angle_deg == pytest.approx(0.57, abs=0.005)
    assert 6.0 - axis_shift(400, 350, 6.0, 40).axes_angle_deg == pytest.approx(0.57, abs=0.03)


def test_geometry_and_the_measured_mean_are_different_numbers_on_the_sheet() -> None:
    # Burghardt, Paley et al. 2012, PMID 22933497: 1.0 mm/cm (0 to 3.5) in adults. Geometry: knee 1.05 mm, axis 0.48 mm
    # for each cm at 6 deg, 400 and 350 mm.
    shift = axis_shift(400, 350, 6, 10)
    assert (shift.knee_inward_mm, shift.axis_outward_mm) == pytest.approx((1.05, 0.48), abs=0.006)
    measured = sheet("lengthening", {"amount_mm": "50"}).line("As measured in adults, axis passes further outward")
    assert measured.value == pytest.approx(5.0)
    assert measured.spread == pytest.approx((0.0, 17.5))
    assert measured.sources == ("burghardt_2012",)


def test_fractures_after_removal_of_a_congenital_femur() -> None:
    # J Pediatr Orthop, PMID 26650581: 34 of 100 without a rod (n = 95), 18 of 100 with one (n = 45).
    made = sheet("lengthening")
    assert made.line("Fracture after removal, without a rod").value == 34
    assert made.line("Fracture after removal, with a rod").value == 18
    assert made.line("Fracture after removal, with a rod").strong


@pytest.mark.parametrize(
    ("yearly", "width", "printed"), [(10, 70, 0.68), (13, 70, 0.88), (9, 70, 0.61), (6, 65, 0.44), (6, 60, 0.48)]
)
def test_guided_growth_turns_by_growth_over_width(yearly: float, width: float, printed: float) -> None:
    # Computed; they hold the means of Ballal 2010 (J Bone Joint Surg Br 92:273-276): femur 0.7, tibia 0.5 deg a month.
    assert rate_deg_per_month(yearly, width) == pytest.approx(printed, abs=0.0051)


def test_sick_growth_plates_take_about_1_6_times_as_long() -> None:
    # PMC3100457, 58 patients: 18 months against 11.
    assert protocol().number("guided_growth_sick_plate_times") == pytest.approx(18 / 11, abs=0.05)


def test_rebound_is_told_as_counted() -> None:
    # BMC Musculoskelet Disord 2022, 10.1186/s12891-022-05996-1: 22 of 73 limbs; 23 of 42 in congenital deficiency.
    n, hits, z = 73, 22, 1.96
    share = hits / n
    middle = (share + z**2 / (2 * n)) / (1 + z**2 / n)
    half = z * (share * (1 - share) / n + z**2 / (4 * n**2)) ** 0.5 / (1 + z**2 / n)
    value = protocol().value("guided_growth_rebound_percent")
    assert value.value == pytest.approx(100 * share, abs=0.5)
    assert (value.low, value.high) == pytest.approx((100 * (middle - half), 100 * (middle + half)), abs=0.5)
    assert protocol().number("guided_growth_rebound_deficiency_percent") == pytest.approx(100 * 23 / 42, abs=0.5)


def test_arrest_of_the_distal_femur_at_nine_takes_63_mm_by_the_annual_rule() -> None:
    # Exam item QID 916: boy of 9, growth ends at 16, 9 mm a year: 6.3 cm.
    assert arrest_by_annual_rule(63, 9, 16).age_years == pytest.approx(9.0)
    curve = growth_curve(protocol(), "boy", "table")
    assert by_annual_rule(protocol(), curve, 63).ages[0] == pytest.approx(9.0)


def test_arrest_of_both_plates_by_the_straight_line() -> None:
    # Japanese paediatric reference, figure legend: mature long leg 92 cm, both plates closed at 84 cm: 87 cm (86.8).
    curve = growth_curve(protocol(), "boy", "table")
    age = by_straight_line(protocol(), curve, MatureLegs(510, 410), 920 - 868).ages[2]
    assert age is not None
    assert 920 * float(curve.fraction(age)) == pytest.approx(840, abs=0.5)


@pytest.mark.parametrize(
    ("sex", "mm", "plates", "multiplier", "remaining", "rule"),
    [
        # Mean child of the 1964 lengths, computed beside each other: multiplier, 1964 curve, annual-growth rule.
        ("boy", 30, 0, 13.5, 13.4, 12.7),
        ("boy", 50, 0, 12.1, 12.0, 10.4),
        ("girl", 30, 0, 11.4, 11.3, 10.7),
        ("boy", 40, 2, 14.0, 13.7, 13.3),
        ("girl", 40, 2, 11.7, 11.6, 11.3),
    ],
)
def test_the_classical_methods_disagree_on_when_to_operate(
    sex: Sex, mm: float, plates: int, multiplier: float, remaining: float, rule: float
) -> None:
    curve = growth_curve(protocol(), sex, "table")
    means = [protocol().table(f"amg_1964_{bone}_{sex}s").column("mean")[-1] for bone in ("femur", "tibia")]
    legs = MatureLegs(10 * means[0], 10 * means[1])
    assert by_multiplier(protocol(), curve, legs, mm).ages[plates] == pytest.approx(multiplier, abs=0.06)
    assert by_growth_remaining(protocol(), curve, mm).ages[plates] == pytest.approx(remaining, abs=0.06)
    assert by_annual_rule(protocol(), curve, mm).ages[plates] == pytest.approx(rule, abs=0.06)
