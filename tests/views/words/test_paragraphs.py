"""What the panes say, word by word; every number of the walking aids comes from the protocol."""

from __future__ import annotations

import pytest

from pathway.views.words.paragraphs import aids, at_age, details, in_date_order, of_gates, of_stage
from tests.plans import files, plan, rules


def words(lines: object) -> str:
    return "\n".join(line.text for line in lines)  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("difference_mm", "said"),
    # hesperian_549: from 2 to 5 cm a lift about 1 cm less than the difference
    [(12.0, "no lift (from 2.0 cm on)"), (20.0, "shoe lift of about 1.0 cm"), (43.0, "shoe lift of about 3.3 cm")],
)
def test_a_lift_follows_the_rule_of_the_protocol(difference_mm, said) -> None:
    assert aids(rules()).words(difference_mm) == said


@pytest.mark.parametrize("difference_mm", [50.0, 99.0, 100.0, 180.0])
def test_larger_differences_ask_for_another_aid_than_a_lift(difference_mm) -> None:
    said = aids(rules()).words(difference_mm)
    assert "lift" not in said
    assert said in {rules().stage(id).label.lower() for id in ("built_up_orthosis", "extension_prosthesis")}


def test_an_age_to_come_has_a_difference_with_and_without_the_plan() -> None:
    of = plan("rowan-02")
    said = words(at_age(of, 10.0, aids(rules())))
    assert said.startswith("At 10 y, 2034-03-14\n")
    assert "With the plan " in said
    assert "No operations " in said
    assert "Aid: " in said


def test_an_age_of_the_past_has_what_was_measured() -> None:
    said = words(at_age(plan("rowan-02"), 1.75, aids(rules())))
    assert "Last measured 6.9 cm shorter on 2025-09-17" in said


def test_without_a_projection_the_difference_is_not_known() -> None:
    assert "not known" in words(at_age(plan("elm-01"), 5.0, None))


@pytest.mark.parametrize("child", files())
def test_every_stage_can_be_told(child) -> None:
    of = plan(child)
    for stage in in_date_order(of):
        short, long, gates = words(of_stage(of, stage)), words(details(of, stage)), words(of_gates(stage))
        assert stage.label in short
        assert stage.what in long
        assert "Why " in long
        for gate in stage.gates:
            assert gate.sentence in long
            assert gate.sentence in gates


def test_gates_that_do_not_hold_come_first() -> None:
    lines = [line for line in of_gates(plan("rowan-02").stage("femoral_lengthening_1")) if line.mark]
    marks = "".join(line.mark for line in lines)
    assert marks == "".join(sorted(marks, key="-?~>+".index))
    assert marks.startswith("-")


def test_stages_without_a_date_come_last() -> None:
    dates = [stage.date for stage in in_date_order(plan("cedar-05"))]
    dated = [day for day in dates if day is not None]
    assert dates == sorted(dated) + [None] * (len(dates) - len(dated))
