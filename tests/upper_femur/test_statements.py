"""What must hold of every upper femur, said in words of the trade."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from pathway.upper_femur.model import Femur, Plan, Result, Settings, result, solved
from tests.upper_femur.femora import planned

EXACT = 1e-6
ROUNDED = 1e-4
FLAT = {"bone_version_deg": 0.0, "bone_flexion_deg": 0.0}
BARE = {"plan_version_deg": 0.0, "plan_offset_mm": 0.0, "plan_wedge_mm": 0.0}


def numbers(bone: Femur, plan: Plan, settings: Settings) -> dict[str, float | None]:
    return result(bone, plan, settings).numbers


def alike(one: dict[str, float | None], other: dict[str, float | None], to: float = EXACT) -> None:
    assert one.keys() == other.keys()
    for name, value in one.items():
        assert other[name] == pytest.approx(value, abs=to), name


def whole_turn(said: Result) -> Rotation:
    """Return the turn of a left femur from its angle and axis, along the inner side, forward and up."""
    angle = said.numbers["total_turn_deg"]
    assert angle is not None
    assert said.axis is not None
    return Rotation.from_rotvec(np.array(said.axis) * angle, degrees=True)


def about(axis: np.ndarray, angle_deg: float) -> Rotation:
    """Return an inward turn of a left femur's distal piece about a shaft that points up along `axis`."""
    return Rotation.from_rotvec(-axis * angle_deg, degrees=True)


def tilt_to(up: np.ndarray) -> Rotation:
    axis = np.cross([0.0, 0.0, 1.0], up)
    return Rotation.from_rotvec(axis / np.linalg.norm(axis) * np.arctan2(np.linalg.norm(axis), up[2]))


def between(one: Rotation, other: Rotation) -> float:
    return float(np.degrees((one.inv() * other).magnitude()))


def deg(value: float | None) -> float:
    assert value is not None
    return value


def test_a_mirror_image_has_the_same_numbers_and_the_opposite_axis():
    for bone, plan, _ in planned(seed=1):
        left, right = (solved(replace(bone, side=side), plan) for side in ("left", "right"))
        assert left.numbers == right.numbers
        assert left.refused == right.refused
        assert left.axis == pytest.approx([-x for x in right.axis])


def test_what_is_planned_reaches_the_targets_and_leaves_no_flexion():
    for bone, plan, settings in planned(seed=2):
        after = numbers(bone, plan, settings)
        assert after["neck_shaft_after_deg"] == pytest.approx(plan.neck_shaft_deg, abs=EXACT)
        assert after["version_after_deg"] == pytest.approx(plan.version_deg, abs=EXACT)
        assert after["flexion_after_deg"] == pytest.approx(0, abs=EXACT)


def test_an_implant_of_the_wanted_angle_goes_along_the_neck_and_gives_its_angle_whatever_the_slot():
    for bone, plan, _ in planned(seed=3):
        plan = replace(plan, implant_deg=plan.neck_shaft_deg, film_rotation_deg=0.0, film_flexion_deg=0.0)
        said = solved(bone, plan)
        if said.settings is None:
            continue
        settings = said.settings
        out = math.sin(math.radians(bone.neck_shaft_deg)) * math.sin(math.radians(bone.version_deg))
        assert said.numbers["wire_to_neck_deg"] == pytest.approx(0, abs=EXACT)
        assert settings.wire_front_deg == pytest.approx(said.numbers["film_neck_shaft_before_deg"], abs=EXACT)
        assert settings.wire_side_deg == pytest.approx(math.degrees(math.asin(out)), abs=EXACT)
        for slot in (-50.0, -10.0, 0.0, 35.0, 80.0):
            turned = numbers(bone, plan, replace(settings, slot_deg=slot))
            assert turned["neck_shaft_after_deg"] == pytest.approx(plan.implant_deg, abs=EXACT)


class TestWithoutVersionAndFlexion:
    def test_valgus_is_the_difference_and_wire_slot_and_rotation_are_plain(self):
        for bone, plan, settings in planned(seed=4, **FLAT, **BARE):
            valgus = plan.neck_shaft_deg - bone.neck_shaft_deg
            after = numbers(bone, plan, settings)
            assert after["valgus_deg"] == pytest.approx(valgus, abs=EXACT)
            assert settings.wire_front_deg == pytest.approx(plan.implant_deg - valgus, abs=EXACT)
            assert settings.wire_side_deg == pytest.approx(0, abs=EXACT)
            assert settings.slot_deg == pytest.approx(0, abs=EXACT)
            assert settings.rotation_deg == pytest.approx(0, abs=EXACT)

    def test_the_growth_plate_turns_by_the_valgus(self):
        for bone, plan, settings in planned(seed=5, **FLAT, **BARE, bone_epiphyseal_deg=60.0):
            after = numbers(bone, plan, settings)
            assert after["epiphyseal_after_deg"] == pytest.approx(60 - deg(after["valgus_deg"]), abs=EXACT)

    def test_shift_and_length_follow_from_a_drawing_in_one_plane(self):
        for bone, plan, settings in planned(seed=6, **FLAT, **BARE):
            valgus = math.radians(plan.neck_shaft_deg - bone.neck_shaft_deg)
            c, s, r = math.cos(valgus), math.sin(valgus), bone.shaft_width_mm / 2
            after = numbers(bone, plan, settings)
            slope = math.sin(math.radians(plan.implant_deg) - valgus)
            shift = plan.cut_below_corner_mm * s - r * (1 - c) + plan.proud_mm * slope * c
            assert after["plate_shift_mm"] == pytest.approx(shift, abs=ROUNDED)
            # The head seen from the middle of the cut, turned back by the valgus; the shaft stands off by its rim.
            lean, wire = math.radians(180 - bone.neck_shaft_deg), math.radians(settings.wire_front_deg)
            in_mm, up_mm = bone.neck_mm * math.sin(lean), bone.neck_mm * math.cos(lean)
            knee = math.sqrt(bone.length_mm**2 - in_mm**2) - up_mm
            at_in, at_up = (plan.wire_through_mm * of for of in (math.sin(lean), math.cos(lean)))
            corner = at_up + (at_in + r + plan.proud_mm * math.sin(wire)) / math.tan(wire)
            cut = corner - plan.cut_below_corner_mm
            rim = r * abs(s)
            off = min(rim, (rim + shift * s) / c)
            in_mm, up_mm = in_mm, up_mm - cut
            gain = math.hypot(in_mm * c - up_mm * s + shift, cut + knee + off + in_mm * s + up_mm * c) - bone.length_mm
            assert after["length_gain_mm"] == pytest.approx(gain, abs=ROUNDED)

    def test_another_implant_on_the_same_wire_changes_the_angle_by_the_difference(self):
        for bone, plan, settings in planned(seed=7, **FLAT, **BARE):
            there = numbers(bone, plan, replace(settings, implant_deg=settings.implant_deg + 7))
            assert there["neck_shaft_after_deg"] == pytest.approx(plan.neck_shaft_deg + 7, abs=EXACT)


def test_in_the_plane_of_the_neck_without_flexion_each_correction_is_a_plain_difference():
    for bone, plan, settings in planned(
        seed=8, bone_side="left", bone_flexion_deg=0.0, bone_flexion_frame="neck_plane"
    ):
        said = result(bone, plan, settings)
        turned = plan.version_deg - bone.version_deg
        assert settings.slot_deg == pytest.approx(0, abs=EXACT)
        assert said.numbers["valgus_deg"] == pytest.approx(plan.neck_shaft_deg - bone.neck_shaft_deg, abs=EXACT)
        assert settings.rotation_deg == pytest.approx(turned, abs=EXACT)
        # One turn about the old shaft first, or about the new shaft last: the femur ends the same.
        across = np.array([-math.sin(math.radians(bone.version_deg)), math.cos(math.radians(bone.version_deg)), 0.0])
        tilt = Rotation.from_rotvec(across * deg(said.numbers["valgus_deg"]), degrees=True)
        up = np.array([0.0, 0.0, 1.0])
        assert between(whole_turn(said), tilt * about(up, turned)) < ROUNDED
        assert between(whole_turn(said), about(tilt.apply(up), turned) * tilt) < ROUNDED


def test_across_the_shaft_without_flexion_valgus_keeps_how_far_the_neck_points_forward():
    for bone, plan, settings in planned(
        seed=9, bone_side="left", bone_flexion_deg=0.0, bone_flexion_frame="shaft_side"
    ):
        said = result(bone, plan, replace(settings, rotation_deg=0.0))
        if said.axis is None:
            continue
        valgus = deg(said.numbers["valgus_deg"])
        assert between(whole_turn(said), Rotation.from_rotvec([0, valgus, 0], degrees=True)) < ROUNDED

        def forward(neck_shaft: float | None, version: float | None) -> float:
            return math.sin(math.radians(deg(neck_shaft))) * math.sin(math.radians(deg(version)))

        kept = forward(said.numbers["neck_shaft_after_deg"], said.numbers["version_after_deg"])
        assert kept == pytest.approx(forward(bone.neck_shaft_deg, bone.version_deg), abs=EXACT)


def test_wire_implant_slot_and_rotation_fix_the_turn_and_no_order_of_hands_enters():
    others = planned(seed=21, bone_side="left")
    told_apart = 0
    for (bone, plan, settings), (other, its_plan, _) in zip(planned(seed=10, bone_side="left"), others, strict=True):
        said = result(bone, plan, settings)
        if abs(settings.wire_side_deg) < 30 and 60 < settings.wire_front_deg < 120:
            # On any other bone the same settings make the same turn.
            its_plan = replace(its_plan, wire_through_mm=2.0)
            again = result(other, its_plan, settings)
            assert between(whole_turn(again), whole_turn(said)) < ROUNDED
        whole, more = whole_turn(said), 25.0
        old, new = np.array([0.0, 0.0, 1.0]), whole.apply([0.0, 0.0, 1.0])
        after_more = whole_turn(result(bone, plan, replace(settings, rotation_deg=settings.rotation_deg + more)))
        assert between(after_more, about(new, more) * whole) < ROUNDED
        assert between(after_more, whole * about(old, more)) < ROUNDED
        # Rotation about the old shaft after the tilt is another thing.
        if deg(said.numbers["tilt_deg"]) > 5:
            tilt = tilt_to(new)
            assert between(about(new, more) * tilt, tilt * about(old, more)) < ROUNDED
            assert between(about(old, more) * tilt, tilt * about(old, more)) > 1
            told_apart += 1
    assert told_apart > 100


def test_a_neck_square_to_the_shaft_shows_a_right_angle_on_every_film():
    for bone, plan, settings in planned(seed=12, bone_neck_shaft_deg=90.0, bone_version_deg=-20.0):
        for turned in (-60.0, -25.0, 0.0, 10.0, 40.0):
            film = replace(plan, film_rotation_deg=turned, film_flexion_deg=0.0)
            assert numbers(bone, film, settings)["film_neck_shaft_before_deg"] == pytest.approx(90, abs=EXACT)


def test_a_wire_found_where_it_was_planned_changes_nothing():
    for bone, plan, settings in planned(seed=13):
        found = replace(plan, found_wire=(settings.wire_front_deg, settings.wire_side_deg))
        alike(solved(bone, found).numbers, numbers(bone, plan, settings))


def test_the_wedge_changes_no_angle():
    for bone, plan, settings in planned(seed=14):
        small, large = (solved(bone, replace(plan, wedge_mm=mm)) for mm in (0.0, 9.0))
        assert small.settings == large.settings == settings
        for name, value in small.numbers.items():
            if name.endswith("_deg"):
                assert large.numbers[name] == value, name
        assert small.axis == large.axis
        assert deg(large.numbers["length_gain_mm"]) != pytest.approx(deg(small.numbers["length_gain_mm"]))
