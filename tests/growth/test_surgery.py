"""What lengthening and growth arrest do to the projection, done before or still to come."""

from __future__ import annotations

import numpy as np
import pytest

from pathway.growth import Outlook, Posterior, Step, What, arrest_takes, fit_growth, growth_curve, outlook
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Record
from tests.growth.children import Lengths, at, bones, child, difference
from tests.growth.protocols import all_goes_well, as_printed

SIX: Lengths = (200, 281, 210, 221)


def plain() -> Protocol:
    return as_printed(all_goes_well(load_protocol()))


def fit(record: Record, age: float, *steps: Step, protocol: Protocol | None = None) -> Posterior:
    fitted = fit_growth(Question(record, protocol or plain(), at(age)), known_steps=steps)
    assert fitted is not None
    return fitted


def centre(record: Record, age: float, *steps: Step) -> Outlook:
    return outlook(fit(record, age, *steps).central())


def fraction(age: float) -> float:
    return float(growth_curve(load_protocol(), "boy", "table").fraction(age))


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
    fitted = fit(record, 8, done, protocol=as_printed(load_protocol()))
    kept = fitted.central().bones["femur"].share_kept[0]
    # 300 over 322 mm on the second film; the length gained is known to a few millimetres only.
    assert kept == pytest.approx(200 / 281, abs=0.06)


def test_without_a_film_before_the_lengthening_its_length_is_taken_off_first() -> None:
    done = Step("short", "femur", 7.0, adds_mm=50)
    record = child(bones(8, (280, 320, 240, 253)))
    assert fit(record, 8, done).central().bones["femur"].share_kept[0] == pytest.approx((280 - 50) / 320)


def test_the_lengthened_gain_is_no_growth_when_inhibition_is_measured() -> None:
    done = Step("short", "femur", 9.0, adds_mm=40)
    record = child(bones(8, (300, 320, 250, 250)), bones(10, (374, 360, 275, 275)), diagnosis="acquired_physis_damage")
    kept = fit(record, 10, done).central().bones["femur"].share_kept[0]
    assert kept == pytest.approx((374 - 40 - 300) / (360 - 320), abs=0.05)


def lost_after_lengthening(diagnosis: str, bone: str) -> np.ndarray:
    """Return the part of the growth to come that each draw loses by a lengthening at eight."""
    fitted = fit(child(bones(6, SIX), diagnosis=diagnosis), 6, protocol=load_protocol())
    what: What = f"short_{bone}"  # type: ignore[assignment]
    step = [Step("short", bone, 8.0, adds_mm=55)]  # type: ignore[arg-type]
    lost = outlook(fitted).at_maturity(what) + 55 - outlook(fitted, step).at_maturity(what)
    left = outlook(fitted).at_maturity(what) - outlook(fitted, ages=[8.0]).lengths(what)[:, 0]
    return lost / left


def test_most_lengthened_bones_grow_on_as_before_and_some_more_slowly() -> None:
    # Sabharwal S et al. J Pediatr Orthop 2000;20:137-145 and two further series of 20: no change as a group.
    lost = lost_after_lengthening("congenital_femoral_deficiency", "femur")
    assert np.median(lost) == pytest.approx(0, abs=0.02)
    assert (lost > 0.2).mean() == pytest.approx(0.065, abs=0.03)
    assert (lost < 0).any()


def test_a_tibia_without_its_fibula_loses_what_was_printed() -> None:
    # Sharma et al. J Pediatr Orthop B 1991: five of seven fell from 82.5 to 39 (26-54) percent, two stopped.
    lost = lost_after_lengthening("fibular_deficiency", "tibia")
    slowed = lost[(lost > 0.2) & (lost < 0.85)]
    assert slowed.mean() == pytest.approx(1 - 39 / 82.5, abs=0.03)
    assert np.quantile(slowed, [0.1, 0.9]) == pytest.approx([1 - 54 / 82.5, 1 - 26 / 82.5], abs=0.05)
    assert (lost > 0.85).any()


def test_growth_lost_after_a_lengthening_is_learned_from_the_visits_since() -> None:
    protocol = as_printed(load_protocol())
    done = Step("short", "femur", 6.0, adds_mm=50)
    long = [281 * fraction(age) / fraction(6) for age in (6, 8, 9, 10, 11)]
    tibia = [221 * fraction(age) / fraction(6) for age in (6, 8, 9, 10, 11)]
    kept, slowed = (
        [200 + (50 if k else 0) + part * 200 / 281 * (mm - long[0]) for k, mm in enumerate(long)] for part in (1.0, 0.6)
    )
    losses = []
    for short in (kept, slowed):
        visits = [bones(a, (s, f, t, t)) for a, s, f, t in zip((6, 8, 9, 10, 11), short, long, tibia, strict=True)]
        losses.append(fit(child(*visits), 11, done, protocol=protocol).bones["femur"].loss)
    assert np.median(losses[0]) == pytest.approx(0.0, abs=0.05)
    assert np.median(losses[1]) == pytest.approx(0.4, abs=0.1)


def test_closing_the_distal_femur_takes_its_share_of_what_is_left() -> None:
    # Pritchett JW, Clin Orthop 1992;275:274-279, boys: 0.55 of the femur's growth at 7 years, 0.90 at 16.
    natural = fit(child(bones(6, SIX)), 6).central()
    mature = outlook(natural).at_maturity("long_femur")[0]
    arrested = outlook(natural, [Step("long", "femur", 12.0, stops=("distal_femur",))])
    ages = np.linspace(12, 17, 2001)
    share = 0.55 + (0.90 - 0.55) * np.clip((ages - 7) / (16 - 7), 0, 1)
    grown = growth_curve(load_protocol(), "boy", "table").fraction(ages)
    expected = mature * float((np.diff(grown) * (share[1:] + share[:-1]) / 2).sum())
    assert mature - arrested.at_maturity("long_femur")[0] == pytest.approx(expected, rel=0.002)
    assert arrested.at_maturity("long_tibia") == pytest.approx(outlook(natural).at_maturity("long_tibia"))
    assert arrested.at_maturity("short_femur") == pytest.approx(outlook(natural).at_maturity("short_femur"))


def test_what_an_arrest_takes_is_what_the_outlook_loses_by_it() -> None:
    fitted = fit(child(bones(6, SIX)), 6, protocol=load_protocol())
    step = [Step("long", "femur", 11.3, stops=("distal_femur",))]
    lost = outlook(fitted).at_maturity("long_femur") - outlook(fitted, step).at_maturity("long_femur")
    assert arrest_takes(fitted, "distal_femur", [11.3])[:, 0] == pytest.approx(lost, abs=0.05)


def test_an_arrest_works_late_in_part_and_is_sometimes_done_again(protocol: Protocol) -> None:
    # Song MH et al. J Pediatr Orthop 2015;35:89-93: late onset; HSS Journal 2017: 3.7 % revised.
    draws = fit(child(bones(6, SIX)), 6, protocol=protocol).bones["femur"]
    assert 0.8 < draws.efficacy.mean() < 0.95
    assert 0.12 < draws.efficacy.std() < 0.24
    assert draws.efficacy.max() <= 1
    assert draws.delay_years.min() >= 0
    redone = draws.delay_years > protocol.number("arrest_redone_after_years") + 0.4
    assert redone.mean() == pytest.approx(0.037 / 2, abs=0.02)


@pytest.mark.parametrize("truly", [0.3, 0.95])
def test_how_well_an_arrest_works_is_learned_from_the_visits_since(truly: float) -> None:
    done = Step("long", "femur", 10.0, stops=("distal_femur",))
    before = fit(child(bones(9, (250, 340, 255, 265))), 9)
    curve, ages = growth_curve(load_protocol(), "boy", "table"), (9.0, 11.0, 12.0, 13.0, 14.0)
    alone = [340 * float(curve.fraction(a) / curve.fraction(9.0)) for a in ages]
    taken = [float(before.plates.made["distal_femur"][int(96 * a)]) for a in (10.0, *ages)]
    mature = 340 / float(curve.fraction(9.0))
    long = [mm - truly * mature * max(made - taken[0], 0) for mm, made in zip(alone, taken[1:], strict=True)]
    tibia = [265 * float(curve.fraction(a) / curve.fraction(9.0)) for a in ages]
    visits = [bones(a, (mm * 250 / 340, seen, t, t)) for a, mm, seen, t in zip(ages, alone, long, tibia, strict=True)]
    found = fit(child(*visits), 14, done, protocol=as_printed(load_protocol()))
    efficacy = found.bones["femur"].arrested[done][0]
    assert np.median(efficacy) == pytest.approx(truly, abs=0.12)


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
