"""Which devices a child's findings leave: judged today, and for later when growth or an operation changes them."""

from __future__ import annotations

import datetime

import pytest

from pathway.protocol.model import Protocol
from pathway.rule_engine.devices import DeviceState, device_of, devices_of
from tests.rule_engine.facts_of_case import facts_of_case
from tests.sample import operation

NAIL, TIBIAL = "femoral_internal_nail", "tibial_internal_nail"
FITS = {"femoral_canal_mm": 12.0, "femur_length_mm": 300.0, "earlier_bone_infection": False}


def state(
    findings: dict[str, object], protocol: Protocol, device: str = NAIL, mended: tuple[str, ...] = ()
) -> DeviceState:
    facts = facts_of_case({"age_years": 12.0, "findings": findings}, protocol)
    found = devices_of(facts, protocol, frozenset(mended))
    return next(one for one in found if one.device.id == device)


def test_a_frame_is_always_open(protocol: Protocol) -> None:
    judged = state({}, protocol, "femoral_frame_then_rod")
    assert judged.at(12).verdict is None
    assert judged.out(12) == ""


def test_what_is_not_known_leaves_a_nail_open_and_is_asked_for(protocol: Protocol) -> None:
    judged = state({"femur_length_mm": 300.0}, protocol).at(12)
    assert judged.state == "unknown"
    assert judged.verdict is not None
    assert set(judged.verdict.asks) == {"femoral_canal_mm", "earlier_bone_infection"}


def test_a_narrow_canal_rules_it_out_for_a_year_and_is_asked_anew_after_it(protocol: Protocol) -> None:
    judged = state({**FITS, "femoral_canal_mm": 8.0}, protocol)
    assert "8 mm" in judged.out(12.5)
    assert judged.out(13.0) == ""
    then = judged.at(13.0).verdict
    assert then is not None
    assert set(then.asks) == {"femoral_canal_mm", "femur_length_mm"}


def test_a_wide_canal_holds_for_later_too(protocol: Protocol) -> None:
    assert state(FITS, protocol).at(15.0).state == "holds"


@pytest.mark.parametrize("lasting", [{"earlier_bone_infection": True}, {"lateral_femoral_condyle": "hypoplastic"}])
def test_what_does_not_change_rules_it_out_for_good(lasting: dict[str, object], protocol: Protocol) -> None:
    judged = state({**FITS, **lasting}, protocol)
    assert judged.out(12.0)
    assert judged.out(17.0)


def test_what_a_planned_stage_mends_rules_it_out_only_until_then(protocol: Protocol) -> None:
    loose = {**FITS, "knee_instability": "severe"}
    assert state(loose, protocol).out(14.0)
    mended = state(loose, protocol, mended=("knee_instability",))
    assert mended.out(12.0)
    assert mended.out(14.0) == ""


def test_a_tibial_plate_that_is_open_today_may_be_closed_by_then(protocol: Protocol) -> None:
    found = {"tibial_canal_mm": 13.0, "tibia_length_mm": 300.0, "earlier_bone_infection": False}
    judged = state({**found, "upper_tibial_plate": "open", "ankle_type": "stable_normal"}, protocol, TIBIAL)
    assert judged.out(12.0)
    then = judged.at(14.0).verdict
    assert then is not None
    assert "upper_tibial_plate" in then.asks


@pytest.mark.parametrize("joint", ["hip", "knee"])
def test_a_joint_that_slipped_in_a_lengthening_rules_a_nail_out_for_good(joint: str, protocol: Protocol) -> None:
    judged = state({**FITS, f"{joint}_slipped_at_lengthening": True}, protocol)
    assert "must be spanned" in judged.out(12.0)
    assert "must be spanned" in judged.out(17.0)


def test_an_operation_without_a_device_was_done_with_the_usual_one(protocol: Protocol) -> None:
    day = datetime.date(2024, 3, 5)
    assert device_of(operation("femoral_lengthening", day), "femur", protocol).id == "femoral_frame_then_rod"
    assert device_of(operation("femoral_lengthening", day, device=NAIL), "femur", protocol).id == NAIL
    assert device_of(None, "tibia", protocol).id == "tibial_ring_frame"
