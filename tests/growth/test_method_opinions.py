"""The classical methods side by side for one child."""

from __future__ import annotations

import pytest

from pathway.growth import Opinion, Step, opinions
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


def test_every_opinion_cites_sources_of_the_protocol(protocol: Protocol) -> None:
    for opinion in opinions(Question(child(bones(4, (160, 240, 180, 188))), protocol, at(4))):
        assert opinion.sources
        for source in opinion.sources:
            assert protocol.source(source).citation
