"""Open questions: by the day they are needed, then by name, as every list has them; each says what it holds up."""

from __future__ import annotations

import pytest

from pathway.plan.assemble import PROJECTION
from pathway.protocol.question import Question
from pathway.views.words.plan import plan_text
from tests.made_once import made_once
from tests.sample import HEALTHY, LEGS, ON, SHALLOW_AND_BENT, five_year_old


def asked(protocol, *without: str, findings=HEALTHY):
    plan = made_once(Question(five_year_old(findings, without=without), protocol, ON), compared=False)
    return plan, {question.finding: question for question in plan.open_questions}


def test_they_are_ordered_by_day_what_the_projection_waits_for_first_then_by_name(protocol) -> None:
    plan, _ = asked(
        protocol, *LEGS, "active_infection", "hip_joint", "ankle_type", "femoral_version_deg", findings=SHALLOW_AND_BENT
    )
    keys = [(q.by, PROJECTION not in q.blocks, q.label) for q in plan.open_questions]
    assert len(keys) > 2
    assert keys == sorted(keys)


def test_what_holds_up_the_next_stage_names_it(protocol) -> None:
    _, questions = asked(protocol, "femoral_version_deg", "ankle_type", findings=SHALLOW_AND_BENT)
    assert questions["femoral_version_deg"].blocks == ("Osteotomy of the proximal femur",)
    assert questions["ankle_type"].blocks == ()


def test_a_gate_looked_at_later_is_asked_by_the_day_it_is_looked_at(protocol) -> None:
    plan, questions = asked(protocol, "therapy_arranged", findings=SHALLOW_AND_BENT)
    gate = next(g for g in plan.stage("femoral_lengthening_1").gates if g.id == "femoral_lengthening.therapy_ready")
    assert questions["therapy_arranged"].by == gate.look_again_on
    assert questions["therapy_arranged"].by > ON


def test_without_lengths_the_projection_waits(protocol) -> None:
    _, questions = asked(protocol, *LEGS)
    assert questions["femur_length_mm"].blocks == ("the growth projection",)
    assert questions["tibia_length_mm"].blocks == ("the growth projection",)


@pytest.mark.parametrize("missing", ["center_edge_angle_deg", "femoral_shaft", "ankle_type"])
def test_the_number_is_that_of_the_judgements_that_are_unknown_for_want_of_it(missing, protocol) -> None:
    plan, questions = asked(protocol, missing)
    shown = {stage.kind for stage in plan.stages}
    shown |= {scheme.id for scheme in protocol.classifications if scheme.asks}
    waiting = {
        item.reason.rule
        for item in plan.considered
        if item.reason.verdict and missing in item.reason.verdict.asks and item.about in shown
    }
    waiting |= {
        gate.id for s in plan.stages for gate in s.gates if gate.state == "unknown" and missing in gate.verdict.asks
    }
    assert questions[missing].decides == len(waiting) > 0


def test_the_text_says_when_how_many_and_what_is_held_up(protocol) -> None:
    plan, questions = asked(protocol, "femoral_version_deg", findings=SHALLOW_AND_BENT)
    text = " ".join(plan_text(plan, 100).split())
    assert f"by {questions['femoral_version_deg'].by}" in text
    assert "holds up Osteotomy of the proximal femur" in text
