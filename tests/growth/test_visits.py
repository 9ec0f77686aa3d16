"""Every visit counts: straight lines, skeletal ages, surprises, departures from the pattern, heights."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathway.growth import Outlook, Posterior, Step, classical_methods, fit_growth, growth_curve, outlook, stature_curve
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Record, Sex, Side, Visit
from tests.growth.children import Lengths, at, bones, child, of_side, visit
from tests.growth.protocols import with_value

SEXES: tuple[Sex, ...] = ("girl", "boy")


def fit(record: Record, age: float, *steps: Step, protocol: Protocol | None = None) -> Posterior:
    fitted = fit_growth(Question(record, protocol or load_protocol(), at(age)), known_steps=steps)
    assert fitted is not None
    return fitted


def on_curve(
    age: float, mature: Lengths, sex: Sex = "boy", noise: Lengths = (0, 0, 0, 0), short: Side = "left"
) -> Visit:
    part = float(growth_curve(load_protocol(), sex).fraction(age))
    lengths = tuple(part * mm + off for mm, off in zip(mature, noise, strict=True))
    return bones(age, lengths, short=short)  # type: ignore[arg-type]


def width(found: Outlook) -> float:
    low, high = found.bands([0.05, 0.95])[:, -1]
    return float(high - low)


# Many visits


@given(
    st.floats(0.3, 0.95), st.floats(0.3, 1.0), st.sampled_from(SEXES), st.sampled_from(["congenital", "developmental"])
)
@settings(max_examples=25, deadline=None)
def test_many_proportional_visits_come_to_the_straight_line(femur: float, tibia: float, sex: Sex, pattern: str) -> None:
    # Moseley 1977: the line of short against long leg, read at the mature long leg.
    mature: Lengths = (470 * femur, 470, 370 * tibia, 370)
    ages = (3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0)
    visits = [on_curve(age, mature, sex) for age in ages]
    found = outlook(fit(child(*visits, sex=sex, pattern=pattern), 9).central())
    parts = growth_curve(load_protocol(), sex).fraction(ages)
    mm = found.at_maturity("long_leg")[0]
    line = classical_methods.short_leg_by_straight_line(list(840 * parts), list((mature[0] + mature[2]) * parts), mm)
    assert found.at_maturity("short_leg")[0] == pytest.approx(line, abs=1.0)


def test_inhibition_seen_in_many_visits_comes_to_their_straight_line() -> None:
    curve = growth_curve(load_protocol(), "boy")
    ages = [4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0]
    long = [470 * float(curve.fraction(age)) for age in ages]
    short = [260 + 0.6 * (mm - long[0]) for mm in long]
    visits = [bones(age, (s, mm, 0.787 * mm, 0.787 * mm)) for age, s, mm in zip(ages, short, long, strict=True)]
    found = outlook(fit(child(*visits, diagnosis="acquired_physis_damage"), 10).central())
    line = classical_methods.short_leg_by_straight_line(long, short, found.at_maturity("long_femur")[0])
    assert found.at_maturity("short_femur")[0] == pytest.approx(line, abs=1.0)


@pytest.mark.parametrize("sex", SEXES)
@pytest.mark.parametrize("age", [1.0, 4.0, 9.0, 12.5])
def test_one_visit_with_the_pull_switched_off_is_the_multiplier_and_with_it_nearer_the_mean(
    protocol: Protocol, sex: Sex, age: float
) -> None:
    # Paley et al. 2000: length x multiplier; 1964 means at 18 years: boys 47.23 cm, girls 43.23 or near.
    mean = 10 * protocol.table(f"amg_1964_femur_{sex}s").column("mean")[-1]
    record = child(on_curve(age, (300, 1.1 * mean, 360, 0.87 * mean), sex), sex=sex)
    pulled = with_value(protocol, "bone_pull_to_population", 1.0)
    off, on = (outlook(fit(record, age, protocol=p).central()).at_maturity("long_femur")[0] for p in (protocol, pulled))
    assert off == pytest.approx(1.1 * mean, abs=0.5)
    assert mean < on < off


@given(st.lists(st.floats(1.5, 11), min_size=1, max_size=5, unique_by=round), st.floats(1.5, 11))
@settings(max_examples=25, deadline=None)
def test_a_further_visit_that_agrees_never_widens_the_band_beyond_noise(ages: list[float], further: float) -> None:
    mature: Lengths = (330, 470, 340, 370)
    before = child(*(on_curve(age, mature) for age in ages))
    after = child(*(on_curve(age, mature) for age in (*ages, further)))
    widths = [width(outlook(fit(record, 12), (), [18.0])) for record in (before, after)]
    assert widths[1] <= 1.05 * widths[0] + 0.5


@given(st.sampled_from(["left", "right"]), st.floats(2, 12))
@settings(max_examples=20, deadline=None)
def test_swapping_the_sides_flips_the_sign(short: Side, age: float) -> None:
    mature: Lengths = (400, 470, 340, 370)
    other: Lengths = (470, 400, 370, 340)
    found, swapped = (
        outlook(
            fit(child(on_curve(age, m, short=short), short=short, pattern="developmental"), age).central(), (), [age]
        )
        for m in (mature, other)
    )
    assert swapped.discrepancy_mm[0, 0] == pytest.approx(-found.discrepancy_mm[0, 0], abs=1e-6)


# Skeletal age


def skeletal(age: float, *read: float, method: str | None = "hand_atlas") -> Posterior:
    visits = [
        on_curve(age - 0.5 * k, (330, 470, 340, 370)).model_copy(
            update={"skeletal_age_years": s, "skeletal_age_method": method}
        )
        for k, s in enumerate(read)
    ]
    return fit(child(*reversed(visits)), age)


def test_a_skeletal_age_narrows_the_band() -> None:
    none = fit(child(on_curve(12.5, (330, 470, 340, 370))), 12.5)
    read = skeletal(12.5, 12.5)
    spread = [outlook(p).at_maturity("long_leg").std() for p in (none, read)]
    assert spread[1] < 0.95 * spread[0], spread
    assert read.mature_age_years == pytest.approx(none.mature_age_years, abs=0.01)


def test_two_readings_that_agree_shift_a_little_more_than_one() -> None:
    # One reading: half the difference of a year; two leave less error of reading in their mean.
    one, two = (
        growth_curve(load_protocol(), "boy").mature_age_years - skeletal(13.0, *read).mature_age_years
        for read in ((14.0,), (14.0, 13.5))
    )
    assert one == pytest.approx(0.5)
    assert one < two < 0.6


# Surprises and departures


def test_a_surprising_value_is_shown_for_checking_and_still_counts() -> None:
    mature: Lengths = (330, 470, 340, 370)
    visits = [on_curve(age, mature) for age in (5.0, 6.0, 7.0)]
    odd = on_curve(8.0, mature, noise=(0, -40, 0, 0))
    fitted, usual = fit(child(*visits, odd), 8), fit(child(*visits, on_curve(8.0, mature)), 8)
    assert usual.surprises == ()
    assert any("femur of the longer leg on 2023-01-01" in said for said in fitted.surprises)
    assert set(fitted.surprises) <= set(fitted.notes)
    assert outlook(fitted.central()).at_maturity("long_femur") != outlook(usual.central()).at_maturity("long_femur")


def course(*discrepancies: float) -> Record:
    ages = np.arange(len(discrepancies)) + 4.0
    curve = growth_curve(load_protocol(), "boy")
    long = [(470 * float(curve.fraction(a)), 370 * float(curve.fraction(a))) for a in ages]
    return child(
        *(
            bones(float(age), (femur - d, femur, tibia, tibia))
            for age, d, (femur, tibia) in zip(ages, discrepancies, long, strict=True)
        )
    )


@pytest.mark.parametrize(
    ("discrepancies", "words"),
    [
        # Shapiro, J Bone Joint Surg Am 1982;64-A:639-651: shapes of the five patterns.
        ((10, 40, 62, 70, 76, 81), "rises, then more slowly (pattern II "),
        ((10, 28, 45, 45, 45, 45), "rises, then level (pattern III "),
        ((60, 36, 12, 12, 12, 12), "falls, then level (pattern IIIA "),
        ((10, 28, 45, 45, 45, 60, 75), "rises, level, rises again towards maturity (pattern IV "),
        ((10, 30, 45, 45, 30, 12), "rises, level, falls (pattern V "),
    ],
)
def test_a_departure_from_proportion_is_named_by_its_course(discrepancies: tuple[float, ...], words: str) -> None:
    fitted = fit(course(*discrepancies), 4.0 + len(discrepancies) - 1)
    assert any("departed from a steady share of growth" in note for note in fitted.notes)
    assert any(words in note for note in fitted.notes), fitted.notes[-4:]


def test_a_departure_widens_the_band() -> None:
    curve = growth_curve(load_protocol(), "boy")
    steady = course(*(40 * float(curve.fraction(a) / curve.fraction(4.0)) for a in (4.0, 5.0, 6.0, 7.0, 8.0, 9.0)))
    departed = course(30, 48, 62, 62, 62, 62)
    found = [outlook(fit(record, 9), (), [18.0]) for record in (steady, departed)]
    assert not any("departed" in note for note in fit(steady, 9).notes)
    assert width(found[1]) > 1.5 * width(found[0])


def test_visits_that_together_surprise_widen_the_band_and_this_is_said(protocol: Protocol) -> None:
    mature: Lengths = (330, 470, 340, 370)
    ages = (5.0, 6.0, 7.0, 8.0, 9.0)
    steady = [on_curve(age, mature) for age in ages]
    # Each film off by three of its errors, to and fro on both bones of the long leg: no child grows so.
    restless = [on_curve(age, mature, noise=(0, 9 * (-1) ** k, 0, -9 * (-1) ** k)) for k, age in enumerate(ages)]
    usual, found = (fit(child(*visits), 9) for visits in (steady, restless))
    assert usual.known is not None
    assert found.known is not None
    assert usual.known.widened == 1.0
    assert 1.0 < found.known.widened <= protocol.number("surprise_most_widening")
    said = [note for note in found.notes if "further from the growth expected than chance explains" in note]
    assert len(said) == 1
    assert f"{found.known.widened:.1f} times as wide" in said[0]


# Operations


def test_a_broken_femur_overgrows_as_published(protocol: Protocol) -> None:
    # Acta Orthop Scand 1981;52:649-655: mean 9.2 mm, range 4 to 27, 78 % of it in 18 months.
    fitted = fit(child(on_curve(5.0, (330, 470, 340, 370))), 5.0)
    step = [Step("short", "femur", 5.5, overgrows=True)]
    ages = [7.0, 20.0]
    gained = outlook(fitted, step, ages).short_femur_mm - outlook(fitted, (), ages).short_femur_mm
    assert gained[:, 1].mean() == pytest.approx(9.2, abs=0.5)
    assert np.quantile(gained[:, 1], [0.01, 0.99]) == pytest.approx([4, 27], abs=6)
    assert gained[:, 0] / gained[:, 1] == pytest.approx(0.78, abs=0.01)


# Height and curve


def test_adult_height_comes_from_the_heights_measured() -> None:
    part = float(stature_curve(load_protocol(), "girl").fraction(9.0))
    tall = visit(9.0, [of_side("standing_height_mm", "left", 1650 * part).model_copy(update={"side": None})])
    record = child(on_curve(9.0, (330, 440, 330, 350), "girl"), tall, sex="girl")
    fitted = fit(record, 9.0)
    assert fitted.adult_height_mm is not None
    assert np.median(fitted.adult_height_mm) == pytest.approx(1650, rel=0.01)
    assert 0.015 < np.log(fitted.adult_height_mm).std() < 0.04
    assert any(note.startswith("Adult height") for note in fitted.notes)
    assert fit(child(on_curve(9.0, (330, 440, 330, 350))), 9.0).adult_height_mm is None


def test_the_protocol_chooses_the_end_of_the_curve(protocol: Protocol) -> None:
    later = protocol.model_copy(update={"growth_curve": "observed"})
    assert growth_curve(later, "girl").mature_age_years == 14.92
    record = child(on_curve(12.0, (330, 440, 330, 350), "girl"), sex="girl")
    table, observed = (
        outlook(fit(record, 12, protocol=p).central()).at_maturity("long_leg")[0] for p in (protocol, later)
    )
    assert observed > table
