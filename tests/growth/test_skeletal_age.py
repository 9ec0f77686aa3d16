"""What skeletal ages say: each by the error of its reading, several by precision, none before its time."""

from __future__ import annotations

import numpy as np
import pytest

from pathway.growth import Posterior, fit_growth, outlook
from pathway.growth.skeletal_age import Skeletal, read_near, skeletal_age, skeletal_readings
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.protocol.skeletal_methods import reading_sd_years
from pathway.record import Record, Sex, Visit
from tests.growth.children import at, bones, child

LENGTHS = (330, 470, 340, 370)


def read(age: float, years: float, method: str | None = "hand_atlas") -> Visit:
    seen = bones(age, LENGTHS)
    return seen.model_copy(update={"skeletal_age_years": years, "skeletal_age_method": method})


def of(protocol: Protocol, age: float, *visits: Visit, sex: Sex = "boy") -> Skeletal:
    return skeletal_age(Question(child(*visits, sex=sex), protocol, at(age)))


def fit(protocol: Protocol, record: Record, age: float) -> Posterior:
    fitted = fit_growth(Question(record, protocol, at(age)))
    assert fitted is not None
    return fitted


def test_one_atlas_reading_shifts_by_half_its_difference(protocol: Protocol) -> None:
    # ALSPAC girls, Orthopaedic Proceedings 97-B Suppl 5, BLRS2015-025: half the offset.
    found = of(protocol, 13, read(13.0, 14.0))
    assert found.shift_years == pytest.approx(0.5)
    assert "Skeletal age 14.0 (hand atlas, read ±0.4 years) against 13 y" in found.note
    assert "by half the difference" in found.note


def test_the_less_exact_the_reading_the_less_it_shifts(protocol: Protocol) -> None:
    ways = ("hand_atlas", "elbow_stages", "hand_stages", "hand_shorthand")
    shifts = [of(protocol, 13, read(13.0, 14.0, way)).shift_years for way in ways]
    assert shifts == sorted(shifts, reverse=True)
    assert len(set(shifts)) == len(shifts)
    assert of(protocol, 13, read(13.0, 14.0, None)).shift_years == pytest.approx(shifts[-1])


def test_a_reading_without_a_method_says_so(protocol: Protocol) -> None:
    assert "(way of reading not recorded, read ±0.7 years)" in of(protocol, 13, read(13.0, 14.0, None)).note


def test_several_readings_are_averaged_by_their_precision(protocol: Protocol) -> None:
    # Worked by hand from the definition: weights 1/SD^2; the true offset has the variance between children as read
    # by the atlas less that of one atlas reading, and the shift regresses on it.
    atlas, short = (reading_sd_years(protocol, way) for way in ("hand_atlas", "hand_shorthand"))
    between = protocol.number("skeletal_age_offset_sd_years") ** 2
    weights = (1 / atlas**2, 1 / short**2)
    mean = (weights[0] * 1.0 + weights[1] * 0.0) / sum(weights)
    tempo = between - atlas**2
    expected = 0.5 * between / tempo * tempo / (tempo + 1 / sum(weights)) * mean
    found = of(protocol, 13, read(12.5, 13.5), read(13.0, 13.0, "hand_shorthand"))
    assert found.shift_years == pytest.approx(expected, abs=0.005)  # ages count in whole days
    assert found.reading_variance == pytest.approx(1 / sum(weights))
    assert mean > 0.7
    assert "read 2 times" in found.note


def test_an_exact_reading_narrows_the_band_more(protocol: Protocol) -> None:
    spread = []
    for visit in (bones(12.5, LENGTHS), read(12.5, 12.5, "hand_shorthand"), read(12.5, 12.5)):
        spread.append(outlook(fit(protocol, child(visit), 12.5)).at_maturity("long_leg").std())
    assert spread == sorted(spread, reverse=True)
    assert spread[2] < spread[1] < spread[0]


def test_before_its_age_a_reading_neither_shifts_nor_narrows_nor_widens(protocol: Protocol) -> None:
    # Houston, Eur J Orthod 1980;2:81-93: of little clinical value more than two years before the average spurt; no
    # source gives a figure for younger children.
    with_it, without = (fit(protocol, child(visit), 7.0) for visit in (read(7.0, 5.0), bones(7.0, LENGTHS)))
    for what in ("long_leg", "short_leg"):
        assert np.array_equal(outlook(with_it).at_maturity(what), outlook(without).at_maturity(what))
    assert any("says little before 9 years" in note for note in with_it.notes)


def test_the_end_of_a_scale_does_not_make_an_older_child_late(protocol: Protocol) -> None:
    # A closed elbow stands for 13 years and more in a girl (Dimeglio et al. 2005).
    found = of(protocol, 15, read(14.5, 13.0, "elbow_stages"), sex="girl")
    assert found.shift_years == 0.0
    assert "stands for every older one" in found.note
    boy = of(protocol, 10, read(10.0, 12.5, "hand_stages"))
    assert boy.shift_years == 0.0
    assert "stands for every younger one" in boy.note


def test_the_nearest_reading_counts_as_long_as_a_skeletal_age_is_valid(protocol: Protocol) -> None:
    months = protocol.finding("skeletal_age_years").valid_months
    assert months == 12
    question = Question(child(read(10.0, 11.0), read(12.0, 13.0, "hand_stages")), protocol, at(14))
    assert [one.years for one in skeletal_readings(question)[0]] == [11.0, 13.0]
    for age, years in ((9.5, 11.0), (10.9, 11.0), (11.2, 13.0), (12.9, 13.0)):
        near = read_near(question, at(age))
        assert near is not None
        assert near.years == years
    assert read_near(question, at(13.2)) is None
    assert read_near(Question(question.record, protocol, at(11)), at(11.5)) is None
