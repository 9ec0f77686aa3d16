"""The classical methods side by side for one child."""

from __future__ import annotations

import pytest

from pathway.growth import Opinion, Step, classical_methods, growth_curve, opinions
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Record
from tests.growth.children import at, bones, child, difference


def said(record: Record, age: float, *steps: Step) -> dict[str, Opinion]:
    found = opinions(Question(record, load_protocol(), at(age)), known_steps=steps)
    words = ("proportion", "inhibition", "straight", "remaining", "annual")
    return {word: next(o for o in found if word in o.name) for word in words}


def test_one_congenital_visit_serves_two_methods_and_the_others_say_what_they_lack() -> None:
    found = said(child(bones(4, (160, 240, 180, 188))), 4)
    assert found["proportion"].discrepancy_at_maturity_mm == pytest.approx(176)
    assert found["remaining"].discrepancy_at_maturity_mm == pytest.approx(176, abs=2)
    for word in ("inhibition", "straight"):
        assert found[word].discrepancy_at_maturity_mm is None
        assert "two visits at least 6 months apart" in found[word].note
    assert found["annual"].discrepancy_at_maturity_mm is None
    assert "last years" in found["annual"].note


def test_two_visits_serve_them_all_and_the_line_is_the_multiplier() -> None:
    # The constructed case C04: 38.0 mm.
    record = child(bones(8, (300, 315, 255, 255)), bones(10, (339, 360, 280, 280)), diagnosis="acquired_physis_damage")
    found = said(record, 10)
    assert found["inhibition"].discrepancy_at_maturity_mm == pytest.approx(38.0, abs=0.1)
    assert found["straight"].discrepancy_at_maturity_mm == pytest.approx(38.0, abs=0.1)
    assert found["remaining"].discrepancy_at_maturity_mm == pytest.approx(38.0, abs=0.5)
    assert "may not hold" in found["proportion"].note


def test_the_annual_rule_speaks_in_the_last_years() -> None:
    # Westh and Menelaus 1981: 3.2 mm a year until 16 in boys; four years from 12.
    found = said(child(difference(12, 30)), 12)
    assert found["annual"].discrepancy_at_maturity_mm == pytest.approx(30 + 4 * 3.2)


def test_a_difference_alone_serves_the_constant_proportion() -> None:
    found = said(child(difference(4, 60)), 4)
    assert found["proportion"].discrepancy_at_maturity_mm == pytest.approx(120)
    assert found["remaining"].discrepancy_at_maturity_mm is None


def test_after_an_operation_the_visits_before_it_are_used_less_what_was_gained() -> None:
    record = child(bones(4, (160, 240, 180, 188)), bones(7, (260, 300, 230, 240)))
    found = said(record, 7, Step("short", "femur", 5.0, adds_mm=60))
    assert found["proportion"].discrepancy_at_maturity_mm == pytest.approx(88 * 2.0 - 60)
    assert "60 mm already gained" in found["proportion"].note
    assert "before the first operation" in found["proportion"].note
    assert "Less the 60 mm already gained" in found["proportion"].note


def test_without_a_visit_before_the_operation_no_method_answers() -> None:
    found = said(child(bones(7, (260, 300, 230, 240))), 7, Step("short", "femur", 5.0, adds_mm=60))
    assert all(opinion.discrepancy_at_maturity_mm is None for opinion in found.values())


def test_nothing_measured_is_said() -> None:
    found = said(child(), 5)
    assert all(opinion.discrepancy_at_maturity_mm is None and opinion.note for opinion in found.values())


def test_the_methods_published_with_skeletal_age_use_it_and_the_others_the_calendar() -> None:
    lengths = (300, 360, 270, 285)
    early = said(child(bones(10, lengths, skeletal_age=12.0)), 10)
    same = said(child(bones(12, lengths)), 12)
    assert early["remaining"].discrepancy_at_maturity_mm == same["remaining"].discrepancy_at_maturity_mm
    assert "By skeletal age (12.0 years)" in early["remaining"].note
    by_calendar = said(child(bones(10, lengths)), 10)
    assert early["proportion"].discrepancy_at_maturity_mm == by_calendar["proportion"].discrepancy_at_maturity_mm
    assert "By calendar age, as published" in early["proportion"].note
    assert "By calendar age: no usable skeletal age was read within 12 months" in by_calendar["remaining"].note


def test_the_straight_line_graph_needs_no_age_but_the_skeletal() -> None:
    # "Note that the only information used is the sex, the skeletal age and the lengths of the legs": step by step
    # instructions of the graph, pedipod.com, with this girl of 7+6, 9+3 and 11+0 years (529/493, 571/528, 636/610 mm).
    seen = ((7.5, 529, 493), (9.25, 571, 528), (11.0, 636, 610))
    found = []
    for ahead in (0.0, 1.5):
        visits = [
            bones(skeletal - ahead, (0.55 * short, 0.55 * long, 0.45 * short, 0.45 * long), skeletal_age=skeletal)
            for skeletal, long, short in seen
        ]
        found.append(said(child(*visits, sex="girl", diagnosis="acquired_physis_damage"), 12)["straight"])
    assert found[0].discrepancy_at_maturity_mm == pytest.approx(found[1].discrepancy_at_maturity_mm)
    assert "Placed by skeletal age (7.5, 9.2, 11.0 years)" in found[1].note


def test_one_horizontal_line_is_fitted_through_all_skeletal_ages(protocol: Protocol) -> None:
    # The same instructions: one horizontal line through the skeletal ages of every visit. Here their mean.
    visits = (bones(8, (300, 315, 255, 255), skeletal_age=8.0), bones(10, (339, 360, 280, 280), skeletal_age=9.0))
    found = said(child(*visits, diagnosis="acquired_physis_damage"), 10)["straight"]
    curve = growth_curve(protocol, "boy", "table")
    mature = (570 * float(curve.multiplier(8.0)) + 640 * float(curve.multiplier(9.0))) / 2
    line = classical_methods.short_leg_by_straight_line([570, 640], [555, 619], mature)
    assert found.discrepancy_at_maturity_mm == pytest.approx(mature - line)


def test_a_skeletal_age_of_long_ago_leaves_the_methods_at_the_calendar() -> None:
    lengths = (300, 360, 270, 285)
    old = bones(9, (280, 340, 255, 268), skeletal_age=11.0)
    found = said(child(old, bones(11, lengths)), 11)["remaining"]
    assert "By calendar age" in found.note


def test_every_opinion_cites_sources_of_the_protocol(protocol: Protocol) -> None:
    for opinion in opinions(Question(child(bones(4, (160, 240, 180, 188))), protocol, at(4))):
        assert opinion.sources
        for source in opinion.sources:
            assert protocol.source(source).citation
