"""The upper femur in space, held against worked examples of a program written apart from this one."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from pathway.upper_femur.model import Femur, NotPossible, Plan, Result, ranges_of, result, solved

EXAMPLES: list[dict[str, Any]] = tomllib.loads(
    (Path(__file__).parents[1] / "data" / "femur_examples.toml").read_text(encoding="utf-8")
)["example"]
TO_DEG_OR_MM = 0.05
RANGE_TO_DEG, RANGE_TO_MM = 2.0, 1.0
ERRORS = {
    "neck_shaft_deg": 2.2,
    "version_deg": 6.5,
    "flexion_deg": 5.0,
    "epiphyseal_deg": 3.0,
    "neck_mm": 1.5,
    "shaft_width_mm": 0.5,
    "neck_wire_mm": 1.5,
    "cut_below_corner_mm": 1.0,
    "wire_front_deg": 2.0,
    "wire_side_deg": 3.0,
    "slot_deg": 3.0,
    "rotation_deg": 5.0,
}
REACH = 1.96


def given(inputs: dict[str, Any]) -> tuple[Femur, Plan]:
    """Return bone and plan of an example's inputs, with the defaults that the examples were made with."""
    neck = inputs["femoral_neck_length_mm"]
    bone = Femur(
        side=inputs["side"],
        neck_shaft_deg=inputs["neck_shaft_angle_deg"],
        version_deg=inputs["femoral_version_deg"],
        flexion_deg=inputs.get("proximal_femur_flexion_deg", 0.0),
        flexion_frame=inputs.get("flexion_frame", "shaft_side"),
        epiphyseal_deg=inputs.get("epiphyseal_angle_deg"),
        neck_mm=neck,
        shaft_width_mm=inputs["femoral_shaft_width_mm"],
        neck_width_mm=inputs["neck_width_mm"],
        neck_depth_mm=inputs.get("neck_depth_mm", inputs["neck_width_mm"]),
        neck_wire_mm=inputs["neck_wire_length_mm"],
        length_mm=inputs["femur_length_mm"],
    )
    found = None
    if "found_wire_front_deg" in inputs:
        found = inputs["found_wire_front_deg"], inputs["found_wire_side_deg"]
    plan = Plan(
        neck_shaft_deg=inputs["target_neck_shaft_deg"],
        version_deg=inputs["target_version_deg"],
        implant_deg=inputs["implant_deg"],
        wire_through_mm=inputs.get("wire_through_mm", neck / 2),
        cut_below_corner_mm=inputs["cut_below_corner_mm"],
        proud_mm=inputs.get("implant_proud_mm", 0.0),
        offset_mm=inputs.get("implant_offset_mm", 0.0),
        blade_width_mm=inputs.get("blade_width_mm", 0.0),
        blade_thickness_mm=inputs.get("blade_thickness_mm", 0.0),
        blade_mm=inputs.get("blade_mm"),
        blade_margin_mm=inputs.get("blade_margin_mm", 0.0),
        cortex_margin_mm=inputs.get("cortex_margin_mm", 0.0),
        bridge_least_mm=inputs.get("bridge_least_mm", 0.0),
        wedge_mm=inputs.get("wedge_mm", 0.0),
        wedge_from=inputs.get("wedge_from", "shaft"),
        film_rotation_deg=inputs.get("film_leg_rotation_deg", 0.0),
        film_flexion_deg=inputs.get("film_hip_flexion_deg", 0.0),
        adduction_left_deg=inputs.get("adduction_left_deg", 20.0),
        found_wire=found,
    )
    return bone, plan


def worked(example: dict[str, Any]) -> Result:
    return solved(*given(example["inputs"]))


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: example["name"].split()[0])
class TestWorkedExamples:
    def test_every_number(self, example) -> None:
        found = worked(example)
        for name, value in {**example.get("numbers", {}), **example.get("extra", {})}.items():
            if name == "total_axis":
                assert found.axis == pytest.approx(tuple(value), abs=0.001)
            else:
                assert found.numbers[name] == pytest.approx(value, abs=TO_DEG_OR_MM), name
        for name in example["null"]:
            assert (found.axis if name == "total_axis" else found.numbers.get(name)) is None

    def test_every_reason_to_refuse(self, example) -> None:
        assert set(worked(example).refused) == set(example["refused"])

    def test_every_range(self, example) -> None:
        found = worked(example)
        if found.settings is None:
            assert "ranges" not in example or not example["ranges"]
            return
        bone, plan = given(example["inputs"])
        told = ranges_of(bone, plan, found.settings, ERRORS, REACH)
        for name, ends in example["ranges"].items():
            to = RANGE_TO_DEG if name.endswith("_deg") else RANGE_TO_MM
            assert told[name] == pytest.approx(tuple(ends), abs=to), name


def test_an_implant_that_turns_the_shaft_by_just_90_deg_is_named_and_does_not_stop_the_sheet() -> None:
    bone, plan = given(next(example for example in EXAMPLES if example["name"].startswith("w11"))["inputs"])
    settings = solved(bone, plan).settings
    assert settings is not None
    turned = replace(settings, implant_deg=settings.wire_front_deg + 90.0, wire_side_deg=0.0, slot_deg=0.0)
    with pytest.raises(NotPossible, match="over_90"):
        result(bone, replace(plan, implant_deg=turned.implant_deg), turned)
