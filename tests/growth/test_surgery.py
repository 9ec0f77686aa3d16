"""What lengthening and growth arrest do to the projection, done before or still to come."""

from __future__ import annotations

import numpy as np
import pytest

from pathway.growth import Outlook, Posterior, Step, fit_growth, growth_curve, outlook
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Record
from tests.growth.children import Lengths, at, bones, child, difference

SIX: Lengths = (200, 281, 210, 221)


def fit(record: Record, age: float, *steps: Step) -> Posterior:
    fitted = fit_growth(Question(record, load_protocol(), at(age)), known_steps=steps)
    assert fitted is not None
    return fitted


def centre(record: Record, age: float, *steps: Step) -> Outlook:
    return outlook(fit(record, age, *steps).central())


def fraction(age: float) -> float:
    return float(growth_curve(load_protocol(), "boy").fraction(age))


def test_a_lengthening_to_come_adds_its_length_from_its_day_on() -> None:
    natural = fit(child(bones(6, SIX)), 6).central()
    step = Step("short", "femur", 8.0, adds_mm=55)
    without, with_it = (outlook(natural, steps, [7.9, 8.0, 12.0]).discrepancy_mm[0] for steps in ((), (step,)))
    assert without - with_it == pytest.approx([0, 55, 55])


def test_at_maturity_a_planned_lengthening_is_simply_taken_off() -> None:
    # Domain formula: D(a) = Dm/M(a) - g when growth is undisturbed.
    natural = fit(child(bones(6, SIX)), 6).central()
    lengthened = outlook(natural, [Step("short", "femur", 8.0, adds_mm=55)])
    assert lengthened.at_maturity() == pytest.approx(outlook(natural).at_maturity() - 55)


def test_a_lengthening_done_after_the_last_film_is_added() -> None:
    record = child(bones(6, SIX))
    done = Step("short", "femur", 7.0, adds_mm=50)
    assert centre(record, 8, done).at_maturity() == pytest.approx(centre(record, 8).at_maturity() - 50)


def test_a_lengthening_seen_on_the_film_is_not_added_again() -> None:
    grown = fraction(8) / fraction(6)
    after: Lengths = (200 * grown + 50, 281 * grown, 210 * grown, 221 * grown)
    done = Step("short", "femur", 7.0, adds_mm=50)
    record = child(bones(6, SIX), bones(8, after))
    assert centre(record, 8, done).at_maturity() == pytest.approx(centre(child(bones(6, SIX)), 6).at_maturity() - 50)


def test_the_proportion_is_that_before_the_lengthening() -> None:
    done = Step("short", "femur", 7.0, adds_mm=50)
    record = child(bones(6, SIX), bones(8, (300, 322, 240, 253)))
    kept = fit(record, 8, done).central().bones["femur"].share_kept[0]
    # 300 over 322 mm on the second film; the length gained is known to a few millimetres only.
    assert kept == pytest.approx(200 / 281, abs=0.03)


def test_without_a_film_before_the_lengthening_its_length_is_taken_off_first() -> None:
    done = Step("short", "femur", 7.0, adds_mm=50)
    record = child(bones(8, (280, 320, 240, 253)))
    assert fit(record, 8, done).central().bones["femur"].share_kept[0] == pytest.approx((280 - 50) / 320)


def test_the_lengthened_gain_is_no_growth_when_inhibition_is_measured() -> None:
    done = Step("short", "femur", 9.0, adds_mm=40)
    record = child(bones(8, (300, 320, 250, 250)), bones(10, (374, 360, 275, 275)), diagnosis="acquired_physis_damage")
    kept = fit(record, 10, done).central().bones["femur"].share_kept[0]
    assert kept == pytest.approx((374 - 40 - 300) / (360 - 320), abs=0.05)


def test_after_lengthening_growth_stays_in_the_centre_and_may_slow_in_the_spread(protocol: Protocol) -> None:
    fitted = fit(child(bones(6, SIX)), 6)
    step = [Step("short", "femur", 8.0, adds_mm=55)]
    lost = outlook(fitted).at_maturity("short_femur") + 55 - outlook(fitted, step).at_maturity("short_femur")
    chance = protocol.number("growth_loss_after_lengthening_chance")
    assert np.median(lost) == pytest.approx(0, abs=1e-9)
    assert (lost > 1e-6).mean() == pytest.approx(chance, abs=0.02)
    left = outlook(fitted).at_maturity("short_femur") - outlook(fitted, ages=[8.0]).short_femur_mm[:, 0]
    most = protocol.number("growth_loss_after_lengthening_most")
    assert np.all(lost <= most * left + 1e-6)


def test_closing_the_distal_femur_takes_its_share_of_what_is_left() -> None:
    # Shares 0.71 and 0.57: Anderson, Green, Messner 1963; Paley et al. 2000.
    natural = fit(child(bones(6, SIX)), 6).central()
    mature = outlook(natural).at_maturity("long_femur")[0]
    arrested = outlook(natural, [Step("long", "femur", 12.0, stops=("distal_femur",))])
    assert mature - arrested.at_maturity("long_femur")[0] == pytest.approx(0.71 * mature * (1 - fraction(12)))
    assert arrested.at_maturity("long_tibia") == pytest.approx(outlook(natural).at_maturity("long_tibia"))
    assert arrested.at_maturity("short_femur") == pytest.approx(outlook(natural).at_maturity("short_femur"))


def test_a_growth_plate_is_closed_only_once() -> None:
    natural = fit(child(bones(6, SIX)), 6).central()
    once = [Step("long", "tibia", 11.0, stops=("proximal_tibia",))]
    twice = [*once, Step("long", "tibia", 12.0, stops=("proximal_tibia",))]
    assert outlook(natural, twice).at_maturity() == pytest.approx(outlook(natural, once).at_maturity())


def test_closing_both_plates_of_a_bone_ends_its_growth() -> None:
    natural = fit(child(bones(6, SIX)), 6).central()
    both = [Step("long", "femur", 10.0, stops=("distal_femur", "proximal_femur"))]
    mm = outlook(natural, both, [10.0, 12.0, 18.0]).long_femur_mm[0]
    assert mm == pytest.approx([mm[0]] * 3)


def test_a_step_may_slow_growth() -> None:
    natural = fit(child(bones(6, SIX)), 6).central()
    slowed = outlook(natural, [Step("short", "femur", 6.0, slows=0.25)])
    grown = outlook(natural).at_maturity("short_femur")[0] - 200
    assert slowed.at_maturity("short_femur")[0] - 200 == pytest.approx(0.75 * grown, abs=0.1)


def test_a_growth_arrest_seen_on_the_film_is_not_counted_twice() -> None:
    done = Step("long", "femur", 11.0, stops=("distal_femur",))
    before = child(bones(10, (270, 363, 270, 285)))
    expected = outlook(fit(before, 10).central(), [done], [12.0, 18.0])
    at_twelve = [expected.lengths(w)[0, 0] for w in ("short_femur", "long_femur", "short_tibia", "long_tibia")]
    after = child(*before.visits, bones(12, (at_twelve[0], at_twelve[1], at_twelve[2], at_twelve[3])))
    found = outlook(fit(after, 12, done).central(), ages=[12.0, 18.0])
    assert found.discrepancy_mm == pytest.approx(expected.discrepancy_mm, abs=0.05)


def test_a_difference_alone_before_and_after_a_lengthening() -> None:
    done = Step("short", "femur", 7.0, adds_mm=50)
    record = child(difference(6, 60), difference(8, 60 * fraction(8) / fraction(6) - 50))
    assert centre(record, 8, done).at_maturity()[0] == pytest.approx(60 / fraction(6) - 50, abs=1)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"age_years": -1.0}, "age_years"),
        ({"adds_mm": -5.0}, "adds_mm"),
        ({"slows": 1.5}, "slows"),
        ({"stops": ("proximal_tibia",)}, "no growth plate 'proximal_tibia'"),
        ({"stops": ("elbow",)}, "no growth plate 'elbow'"),
    ],
)
def test_a_step_that_cannot_be_is_refused_by_name(wrong: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Step(**{"leg": "short", "bone": "femur", "age_years": 8.0, **wrong})  # type: ignore[arg-type]
