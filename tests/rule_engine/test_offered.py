"""What is offered beside lengthening: the single stages of the prosthetic pathway, never planned by themselves."""

from __future__ import annotations

from pathway.protocol.model import Protocol
from tests.rule_engine.test_table import judged

ROAD = ("foot_amputation", "knee_fusion", "hip_fusion", "rotationplasty", "knee_disarticulation")
STIFF = {"findings": {"knee_motion_arc_deg": 35}}


def test_the_single_stages_are_offered_only_with_the_road(protocol: Protocol) -> None:
    sound = judged({}, protocol)
    assert {sound.need(kind) for kind in ("prosthetic_road", *ROAD)} == {"none"}
    stiff = judged(STIFF, protocol)
    assert stiff.need("prosthetic_road") == "optional"
    assert {stiff.need(kind) for kind in ("foot_amputation", "knee_fusion", "rotationplasty")} == {"optional"}


def test_no_stage_of_the_road_is_ever_required(protocol: Protocol) -> None:
    stages = {"prosthetic_road", *ROAD, "tibiofibular_joining"}
    assert all(rule.optional for rule in protocol.indications if rule.stage in stages)


def test_where_the_road_cannot_be_judged_its_stages_are_not_asked_about(protocol: Protocol) -> None:
    unsure = judged({"without": ["knee_motion_arc_deg"]}, protocol)
    assert unsure.need("prosthetic_road") == "unknown"
    assert {unsure.need(kind) for kind in ROAD} == {"none"}


def test_a_child_with_tibial_deficiency_is_not_asked_about_its_hip(protocol: Protocol) -> None:
    child = judged({"diagnosis": "tibial_deficiency", "base": "none", "findings": {"tibia": "distal_part"}}, protocol)
    hip = ("hip_preparation", "pseudarthrosis_repair", "proximal_femoral_osteotomy", "femoral_pelvic_stabilisation")
    assert {child.need(kind) for kind in hip} == {"none"}
