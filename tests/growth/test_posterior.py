"""One child's projection: its centre, its spread, and what operations done before do to it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathway.growth import Outlook, Posterior, Step, classical_methods, fit_growth, growth_curve, outlook
from pathway.growth.population import population
from pathway.growth.projection import What
from pathway.growth.reference_curves import leanings
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Record, Sex, Side
from tests.growth.children import Lengths, at, bones, child, difference, of_side, visit
from tests.growth.protocols import as_printed

FOUR: Lengths = (160, 240, 180, 188)
EVERY: tuple[What, ...] = ("long_femur", "long_tibia", "short_femur", "short_tibia")


def fit(record: Record, age: float, *steps: Step, seed: int = 0, protocol: Protocol | None = None) -> Posterior:
    fitted = fit_growth(Question(record, protocol or load_protocol(), at(age)), seed=seed, known_steps=steps)
    assert fitted is not None
    return fitted


def centre(record: Record, age: float, *steps: Step) -> Outlook:
    """Return the central child with the multiplier table as the one curve, as the classical methods have it."""
    return outlook(fit(record, age, *steps, protocol=as_printed(load_protocol())).central())


def multiplier(sex: Sex, age: float) -> float:
    return float(growth_curve(load_protocol(), sex, "table").multiplier(age))


# The centre


@given(st.floats(0.5, 15), st.floats(0.4, 1), st.sampled_from(["girl", "boy"]))
@settings(max_examples=40, deadline=None)
def test_one_visit_of_a_congenital_child_gives_the_multiplier_method(age: float, ratio: float, sex: Sex) -> None:
    # Paley et al. 2000: discrepancy x multiplier.
    record = child(bones(age, (240 * ratio, 240, 190, 190)), sex=sex)
    age_then = fit(record, age).bones["femur"].long_age_years
    expected = 240 * (1 - ratio) * multiplier(sex, age_then)
    assert centre(record, age).at_maturity()[0] == pytest.approx(expected, abs=0.5)


def test_only_the_difference_measured_gives_the_multiplier_method_too() -> None:
    record = child(difference(4, 60))
    assert centre(record, 4).at_maturity()[0] == pytest.approx(60 * 2.0, abs=0.5)


def test_two_visits_of_an_acquired_discrepancy_give_the_developmental_multiplier() -> None:
    # Long femur on the curve from 8 to 10 years, healthy tibia; the short femur lost 6 of 40 mm.
    grown = multiplier("boy", 8) / multiplier("boy", 10)
    long, tibia = 320 * grown, 250 * grown
    before, after = bones(8, (305, 320, 250, 250)), bones(10, (long - 21, long, tibia, tibia))
    inhibited = classical_methods.inhibition(305, long - 21, 320, long)
    expected = classical_methods.developmental_by_multiplier(21, inhibited, long, multiplier("boy", 10))
    record = child(before, after, diagnosis="acquired_physis_damage")
    assert centre(record, 10).at_maturity()[0] == pytest.approx(expected, abs=0.5)


def test_one_visit_of_an_acquired_discrepancy_is_taken_as_proportional_and_is_less_sure() -> None:
    congenital = fit(child(bones(8, FOUR)), 8)
    acquired = fit(child(bones(8, FOUR), diagnosis="acquired_physis_damage"), 8)
    assert outlook(acquired.central()).at_maturity() == pytest.approx(outlook(congenital.central()).at_maturity())
    assert outlook(acquired).at_maturity().std() > 1.3 * outlook(congenital).at_maturity().std()
    assert any("assumed proportional" in note for note in acquired.notes)


def test_visits_too_close_together_show_no_inhibition() -> None:
    near = child(bones(8, FOUR), bones(8.3, (163, 244, 183, 191)), diagnosis="acquired_physis_damage")
    assert any("assumed proportional" in note for note in fit(near, 9).notes)


def test_the_child_may_set_the_pattern_itself() -> None:
    record = child(bones(8, FOUR), bones(10, (165, 280, 205, 214)), pattern="developmental")
    kept = fit(record, 10).central().bones["femur"].share_kept[0]
    assert kept == pytest.approx((165 - 160) / (280 - 240), abs=0.03)


def test_every_future_passes_through_what_was_measured() -> None:
    fitted = fit(child(bones(6, (200, 290, 210, 230))), 6)
    now = outlook(fitted, ages=[fitted.bones["femur"].long_age_years])
    sd = load_protocol().method("standing_full_length_film").length_sd_mm
    assert now.long_femur_mm.mean() == pytest.approx(290, abs=0.1)
    assert now.long_femur_mm.std() == pytest.approx(sd, rel=0.1)


@pytest.mark.parametrize("sex", ["girl", "boy"])
@pytest.mark.parametrize("age", [1, 4, 8, 12])
def test_the_median_lies_near_the_central_child(sex: Sex, age: float) -> None:
    fitted = fit(child(bones(age, FOUR), sex=sex), age)
    middle = outlook(fitted.central())
    for what in ("discrepancy", "long_leg"):
        assert np.median(outlook(fitted).at_maturity(what)) == pytest.approx(middle.at_maturity(what)[0], rel=0.01)


def test_the_spread_at_maturity_is_the_one_between_children_and_between_curves(protocol: Protocol) -> None:
    leans = leanings(protocol, "boy")
    curves = np.linalg.norm((leans.at([10.0]) - leans.at([20.0])) * leans.sd)
    at_ten = float(np.hypot(population(protocol, "leg", "boy").spread([10.0])[0], curves))
    found = np.log(outlook(fit(child(bones(10, (300, 363, 270, 285))), 10)).at_maturity("long_femur")).std()
    assert found == pytest.approx(at_ten, rel=0.06)


def test_a_bone_that_was_never_measured_is_as_uncertain_as_children_differ() -> None:
    measured = outlook(fit(child(bones(4, FOUR)), 4)).at_maturity("long_leg")
    unknown = outlook(fit(child(difference(4, 88)), 4)).at_maturity("long_leg")
    assert unknown.std() > measured.std()


# Invariants


@given(
    st.floats(0.3, 15),
    st.floats(0.3, 1.05),
    st.sampled_from(["girl", "boy"]),
    st.lists(st.tuples(st.floats(0, 18), st.sampled_from(["short", "long"]), st.floats(0, 80)), max_size=3),
)
@settings(max_examples=40, deadline=None)
def test_a_bone_never_shrinks_and_is_never_negative(
    age: float, ratio: float, sex: Sex, ops: list[tuple[float, str, float]]
) -> None:
    record = child(bones(age, (240 * ratio, 240, 190, 195)), sex=sex)
    steps = [
        Step("long", "femur", when, stops=("distal_femur",)) if leg == "long" else Step("short", "femur", when, mm)
        for when, leg, mm in ops
    ]
    found = outlook(fit(record, age), steps, np.linspace(age, 20, 50))
    for what in EVERY:
        mm = found.lengths(what)
        assert np.all(mm >= 0)
        # Draws are kept in single precision: a few ten-thousandths of a millimetre.
        assert np.all(np.diff(mm, axis=1) >= -1e-3)


def test_sides_are_only_names() -> None:
    left, right = (child(bones(5, FOUR, short=side), short=side) for side in _sides())
    assert np.array_equal(outlook(fit(left, 5)).discrepancy_mm, outlook(fit(right, 5)).discrepancy_mm)


def _sides() -> tuple[Side, Side]:
    return "left", "right"


def test_a_leg_that_is_longer_on_the_affected_side_has_a_negative_discrepancy() -> None:
    record = child(bones(8, (250, 240, 190, 190)), diagnosis="acquired_physis_damage")
    assert centre(record, 8).at_maturity()[0] < 0


def test_the_same_seed_gives_the_same_futures_and_another_seed_others() -> None:
    record = child(bones(5, FOUR))
    first, again, other = (outlook(fit(record, 5, seed=seed)).discrepancy_mm for seed in (3, 3, 4))
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)


def test_visits_after_the_day_do_not_count() -> None:
    record = child(bones(5, FOUR), bones(7, (190, 300, 230, 240)))
    assert centre(record, 6).at_maturity()[0] == pytest.approx(centre(child(bones(5, FOUR)), 6).at_maturity()[0])


def test_nothing_measured_gives_nothing(protocol: Protocol) -> None:
    assert fit_growth(Question(child(), protocol, at(5))) is None
    assert fit_growth(Question(child(bones(5, FOUR)), protocol, at(4))) is None
    other = visit(3, [of_side("knee_flexion_deg", "left", 120)])
    assert fit_growth(Question(child(other), protocol, at(5))) is None


def test_a_length_that_cannot_be_is_refused_by_name(protocol: Protocol) -> None:
    with pytest.raises(ValueError, match=r"femur_length_mm on 2020-01-01 must be above 0 mm, found -5"):
        fit_growth(Question(child(bones(5, (-5, 240, 190, 190))), protocol, at(5)))
    with pytest.raises(ValueError, match="more than the whole femur"):
        fit_growth(Question(child(difference(1, 380)), protocol, at(5)))


# What was not measured


def test_the_difference_is_put_on_the_bone_that_the_diagnosis_names_first() -> None:
    femoral = centre(child(difference(6, 50)), 6)
    fibular = centre(child(difference(6, 50), diagnosis="fibular_deficiency"), 6)
    assert femoral.at_maturity("short_tibia") == pytest.approx(femoral.at_maturity("long_tibia"))
    assert fibular.at_maturity("short_femur") == pytest.approx(fibular.at_maturity("long_femur"))
    assert fibular.at_maturity() == pytest.approx(femoral.at_maturity())


def test_long_bones_stand_in_from_the_1964_means_and_this_is_said(protocol: Protocol) -> None:
    fitted = fit(child(difference(6, 50)), 6)
    # Anderson, Messner, Green 1964, boys of 6 years: femur 28.09 cm, tibia 22.12 cm.
    now = outlook(fitted.central(), ages=[6.0])
    assert now.long_femur_mm[0, 0] == pytest.approx(280.9)
    assert now.long_tibia_mm[0, 0] == pytest.approx(221.2)
    assert any("1964" in note for note in fitted.notes)


def test_a_tibia_that_was_not_measured_follows_the_child_s_femur_and_the_rest_of_the_difference() -> None:
    known = [of_side("femur_length_mm", "left", 250), of_side("femur_length_mm", "right", 280.9 * 1.1)]
    rest = [of_side("leg_length_discrepancy_mm", "left", 79)]
    now = outlook(fit(child(visit(6, [*known, *rest])), 6).central(), ages=[6.0])
    assert now.long_tibia_mm[0, 0] == pytest.approx(221.2 * 1.1)
    assert now.discrepancy_mm[0, 0] == pytest.approx(79)


def test_a_later_difference_moves_the_projection() -> None:
    before = child(bones(5, FOUR))
    after = child(bones(5, FOUR), difference(6, 110))
    fitted = fit(after, 6)
    expected = outlook(fit(before, 6).central(), ages=[6.0]).discrepancy_mm[0, 0]
    assert expected + 10 < outlook(fitted.central(), ages=[6.0]).discrepancy_mm[0, 0] < 110
    assert centre(after, 6).at_maturity()[0] > centre(before, 6).at_maturity()[0]
    assert any("latest visit has only the difference" in note for note in fitted.notes)


# Skeletal age


def test_a_late_child_has_more_growth_left_by_half_the_difference(protocol: Protocol) -> None:
    # Half the offset: ALSPAC girls, Orthopaedic Proceedings 97-B Suppl 5, BLRS2015-025.
    record = child(bones(12, (300, 380, 280, 300), skeletal_age=11.0))
    fitted = fit(record, 12, protocol=as_printed(protocol))
    assert fitted.mature_age_years == pytest.approx(17.5)
    mature = outlook(fitted.central()).at_maturity("long_femur")[0]
    assert mature == pytest.approx(380 * multiplier("boy", 11.5))
    assert any("curve shifted by half the difference" in note for note in fitted.notes)


def test_a_skeletal_age_of_a_young_child_is_not_used() -> None:
    fitted = fit(child(bones(4, FOUR, skeletal_age=2.5)), 4)
    assert fitted.mature_age_years == growth_curve(load_protocol(), "boy").mature_age_years
    assert any("not used" in note for note in fitted.notes)
