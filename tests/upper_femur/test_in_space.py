"""Every number of the upper femur, against a femur built of points and really turned in the body."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from pathway.upper_femur.model import NotPossible, ranges_of, result, solved
from tests.upper_femur.built_femur import (
    BACKWARD,
    DOWN,
    FAR_MM,
    FORWARD,
    UP,
    Bone,
    Operated,
    angle,
    direction,
    in_picture,
    length,
    shadow,
    turn,
)
from tests.upper_femur.femora import ENOUGH, femora, planned
from tests.upper_femur.test_model import ERRORS, REACH

TO_DEG, TO_MM, TO_SHARE, TO_AXIS = 0.05, 0.05, 0.001, 0.001
CLEAR_DEG = 0.5
"""A smaller tilt points nowhere."""


def apart_deg(one: float, other: float) -> float:
    return abs((one - other + 180) % 360 - 180)


def same(found: float | None, built: float, name: str) -> None:
    assert found is not None, name
    if name.endswith("_deg"):
        assert apart_deg(found, built) <= TO_DEG, (name, found, built)
    else:
        assert abs(found - built) <= (TO_SHARE if name == "contact_share" else TO_MM), (name, found, built)


def common_part(diameter: float, apart: float) -> float:
    """Return what part two equal discs have in common, summed over strips."""
    edges = np.linspace(-diameter / 2, diameter / 2, 20001)
    y = (edges[1:] + edges[:-1]) / 2
    strips = 2 * np.sqrt((diameter / 2) ** 2 - y**2)
    return float(np.maximum(strips - apart, 0).sum() / strips.sum())


def before_and_films(femur: Operated) -> dict[str, float]:
    # The moved knee tells how the distal piece lies: with it upright again, the neck is seen anew.
    there = femur.seen_from_knee(femur.neck)
    values = {
        "neck_shaft_before_deg": angle(femur.neck, DOWN),
        "version_before_deg": in_picture(femur.inward, femur.neck, FORWARD, femur.inward),
        "neck_shaft_after_deg": angle(femur.neck, femur.shaft),
        "film_neck_shaft_before_deg": femur.film_deg(femur.neck),
        "film_neck_shaft_after_deg": femur.film_deg(there),
    }
    if femur.bone.epiphyseal_deg is not None:
        values["epiphyseal_before_deg"] = femur.slope(femur.normal)
        values["epiphyseal_after_deg"] = femur.slope(femur.seen_from_knee(femur.normal))
    return values


def version_after(femur: Operated) -> dict[str, float]:
    """Return the version by the line along the back of the condyles, seen along the new shaft."""
    inner, outer = femur.moved(np.array([femur.knee + side * 25 * femur.inward + 20 * BACKWARD for side in (1, -1)]))
    condyles = direction(inner - outer)
    kneecap = direction(shadow(femur.whole.apply(FORWARD), femur.shaft))
    return {"version_after_deg": in_picture(condyles, shadow(femur.head, femur.shaft), kneecap, condyles)}


def turns(femur: Operated) -> dict[str, float]:
    tilt_in_side_view = in_picture(DOWN, femur.shaft, -femur.g, DOWN)
    seen_above, seen_below = shadow(femur.g, femur.up), femur.whole.apply(femur.g)
    inward = direction(shadow(femur.whole.apply(femur.f), femur.up))
    return {
        "valgus_deg": in_picture(DOWN, femur.shaft, -femur.f, DOWN),
        "extension_deg": tilt_in_side_view,
        "flexion_after_deg": in_picture(
            femur.shaft, turn(DOWN, -femur.g, femur.bone.flexion_deg).apply(DOWN), -femur.g, DOWN
        ),
        "rotation_deg": -in_picture(seen_below, seen_above, inward, seen_below),
        "total_turn_deg": float(np.degrees(femur.whole.magnitude())),
        "tilt_deg": angle(femur.shaft, DOWN),
        "adduction_needed_deg": max(0.0, in_picture(DOWN, femur.shaft, femur.outward, DOWN))
        + femur.plan.adduction_left_deg,
    }


def wire_and_blade(femur: Operated, blade_mm: float) -> dict[str, float]:
    beam = direction(np.cross(femur.wire, FORWARD))
    level = direction(np.cross(FORWARD, beam))
    level = level if level @ femur.wire > 0 else -level
    straight = turn(femur.wire, DOWN, 90).apply(femur.wire)
    outside = np.sign(np.cross(DOWN, BACKWARD) @ femur.inward)
    return {
        "wire_front_deg": in_picture(DOWN, femur.wire, femur.inward, DOWN),
        "wire_side_deg": in_picture(level, femur.wire, FORWARD, level),
        "slot_deg": in_picture(
            straight, shadow(femur.shaft, femur.wire), outside * np.cross(femur.wire, straight), straight
        ),
        "implant_deg": angle(femur.wire, femur.shaft),
        "wire_to_shaft_deg": angle(femur.wire, DOWN),
        "wire_to_neck_deg": angle(femur.wire, femur.neck),
        "blade_mm": femur.longest_blade_mm() if femur.plan.blade_mm is None else femur.plan.blade_mm,
        "blade_margin_physis_mm": femur.to_plate_mm(blade_mm),
        "blade_margin_cortex_mm": femur.to_cortex_mm(blade_mm),
    }


def shaft_on_plate(femur: Operated) -> dict[str, float]:
    step = femur.seen_from_knee(femur.face - femur.upper_face)
    aside = step * np.array([1.0, 1.0, 0.0])
    knee = femur.moved(femur.knee)
    return {
        "plate_shift_mm": float(aside @ femur.outward),
        "plate_shift_forward_mm": float(aside @ FORWARD),
        "contact_share": common_part(femur.bone.shaft_width_mm, length(aside)),
        "length_gain_mm": length(femur.head - knee) - length(femur.head - femur.knee),
    }


def room_at_the_cut(femur: Operated) -> dict[str, float]:
    half = femur.plan.blade_thickness_mm / 2

    def beside_blade(t: float) -> float:
        return length(np.cross(-t * UP, femur.wire)) - half

    below = brentq(beside_blade, 0, FAR_MM)
    values = {"bridge_mm": float(femur.entry[2]) - below - femur.cut_mm}
    if angle(femur.shaft, DOWN) > CLEAR_DEG:
        # The wedge has its base where the distal rim is highest, weighed round it; it thins out across the shaft.
        rim = femur.lower_rim - femur.face
        base = direction(rim[:, 2] @ rim * np.array([1.0, 1.0, 0.0]))
        wide = femur.upper_rim @ base
        values["wedge_at_entry_mm"] = float(
            np.interp(femur.entry @ base, [wide.min(), wide.max()], [0, femur.plan.wedge_mm])
        )
        heights = -(femur.upper_rim @ femur.up - femur.upper_rim[:, 2] * femur.up[2]) / femur.up[2]
        values["wedge_full_mm"] = float(heights.max() - heights.min())
    return values


PARTS = {
    "bone and films": lambda femur, blade: before_and_films(femur),
    "version by the condyles": lambda femur, blade: version_after(femur),
    "turns as seen": lambda femur, blade: turns(femur),
    "wire and blade": wire_and_blade,
    "shaft on the plate": lambda femur, blade: shaft_on_plate(femur),
    "room at the cut": lambda femur, blade: room_at_the_cut(femur),
}


@pytest.fixture(scope="module", params=["as planned", "wire found elsewhere"])
def operated(request):
    """Each femur as built and turned, with what the model says of it."""
    found = []
    draw = np.random.default_rng(5)
    for bone, plan, planned_settings in planned(seed=11, count=ENOUGH + 60):
        settings = planned_settings
        if request.param == "wire found elsewhere":
            off = draw.uniform(-10, 10, 2)
            wire = float(settings.wire_front_deg + off[0]), float(settings.wire_side_deg + off[1])
            plan = replace(plan, found_wire=wire)
            said = solved(bone, plan)
            if said.settings is None:
                continue
            settings = said.settings
            assert settings.rotation_deg == planned_settings.rotation_deg
        found.append((Operated(bone, plan, settings), result(bone, plan, settings)))
    assert len(found) >= ENOUGH
    return found


@pytest.mark.parametrize("part", PARTS)
def test_every_number_is_that_of_the_femur_built_and_turned(operated, part):
    for femur, said in operated:
        for name, built in PARTS[part](femur, said.numbers["blade_mm"]).items():
            same(said.numbers[name], built, name)


def test_the_axis_of_the_whole_turn_is_the_one_by_the_right_hand_in_the_body(operated):
    for femur, said in operated:
        axis = direction(femur.whole.as_rotvec())
        assert said.axis == pytest.approx([axis @ femur.inward, axis @ FORWARD, axis @ UP], abs=TO_AXIS)


def test_the_shaft_frees_the_wire_of_flexion_at_the_implants_angle(operated):
    for femur, _ in operated:
        if femur.plan.found_wire is None:
            continue
        shaft = femur.shaft_that_reaches(femur.wire, femur.plan.implant_deg)
        assert shaft is not None
        assert angle(shaft, femur.shaft) <= TO_DEG


def test_settings_are_those_that_trying_every_tilt_finds():
    """The shaft is tilted until neck and shaft stand as wanted; wire and rotation follow from pictures."""
    reached = refused = 0
    for (bone, plan), _ in zip(femora(seed=17), range(2 * ENOUGH), strict=False):
        said = solved(bone, plan)
        shaft = Bone(bone).shaft_that_reaches(Bone(bone).neck, plan.neck_shaft_deg)
        if said.settings is None:
            if "no_correction_reaches" in said.refused or "over_90" in said.refused:
                assert shaft is None, (bone, plan)
                refused += 1
            continue
        assert shaft is not None, (bone, plan)
        femur = Operated(bone, plan, said.settings)
        assert angle(femur.shaft, shaft) <= TO_DEG
        assert angle(femur.neck, femur.shaft) == pytest.approx(plan.neck_shaft_deg, abs=TO_DEG)
        # Wire, neck and new shaft lie in one plane, the wire on the neck's side.
        assert angle(femur.wire, femur.neck) == pytest.approx(abs(plan.neck_shaft_deg - plan.implant_deg), abs=TO_DEG)
        assert angle(femur.wire, femur.shaft) == pytest.approx(plan.implant_deg, abs=TO_DEG)
        assert apart_deg(version_after(femur)["version_after_deg"], plan.version_deg) <= TO_DEG
        reached += 1
    assert reached >= ENOUGH
    assert refused >= 10


def built(femur: Operated, blade_mm: float) -> dict[str, float]:
    return {name: value for part in PARTS.values() for name, value in part(femur, blade_mm).items()}


def test_each_reason_to_refuse_is_seen_on_the_built_femur(operated):
    seen: set[str] = set()
    for femur, said in operated:
        plan, there = femur.plan, built(femur, said.numbers["blade_mm"])
        room = there["bridge_mm"] - plan.bridge_least_mm
        over = {
            "blade_leaves_neck": plan.cortex_margin_mm - there["blade_margin_cortex_mm"],
            "blade_crosses_physis_margin": plan.blade_margin_mm - there["blade_margin_physis_mm"],
            "bridge_too_small": -room,
            "rotation_exceeds_turn": abs(there["rotation_deg"]) - there["total_turn_deg"] - TO_DEG,
        }
        if "wedge_full_mm" in there:
            over["wedge_too_large"] = plan.wedge_mm - there["wedge_full_mm"]
            over["wedge_meets_blade"] = there["wedge_at_entry_mm"] - room if plan.wedge_from == "upper" else -1
        for reason, by in over.items():
            # Nearer than the two agree, either may be right.
            if abs(by) > TO_MM:
                assert (reason in said.refused) == (by > 0), (reason, by)
        seen.update(said.refused)
    assert seen >= set(over) - {"rotation_exceeds_turn"}


def test_a_wire_is_refused_where_it_passes_beside_the_shaft_or_never_nears_the_growth_plate():
    draw = np.random.default_rng(23)
    refused = {"wire_misses_shaft": 0, "wire_along_physis": 0}
    for bone, plan, settings in planned(seed=23, count=ENOUGH, plan_blade_mm=None):
        wire = {"wire_front_deg": float(draw.uniform(20, 160)), "wire_side_deg": float(draw.uniform(-80, 80))}
        settings = replace(settings, **wire, blade_mm=None)
        try:
            femur = Operated(bone, plan, settings)
            reason = "wire_along_physis" if femur.to_plate_mm(1) >= femur.to_plate_mm(0) else None
        except ValueError:
            reason = "wire_misses_shaft"
        if reason is None:
            assert result(bone, plan, settings).numbers["blade_mm"] == pytest.approx(
                femur.longest_blade_mm(), abs=TO_MM
            )
            continue
        refused[reason] += 1
        with pytest.raises(NotPossible, match=reason):
            result(bone, plan, settings)
    assert min(refused.values()) >= 10


@pytest.mark.parametrize("flat", [0.2, 0.5, 1 + 1e-9, 2, 5])
def test_a_flattened_neck_keeps_the_blade_in_as_far_as_points_on_its_wall_say(flat):
    for bone, plan, settings in planned(seed=29, count=ENOUGH // 5, plan_proud_mm=0.0):
        bone = replace(bone, neck_depth_mm=bone.neck_width_mm * flat)
        said = result(bone, plan, settings).numbers
        there = Operated(bone, plan, settings).to_cortex_mm(said["blade_mm"])
        assert said["blade_margin_cortex_mm"] == pytest.approx(there, abs=TO_MM)


def test_ranges_are_those_of_femora_built_a_little_off():
    """One quantity at a time off by its SD either way, the larger change of each number, added in squares."""
    for bone, plan, settings in planned(seed=31, count=20, plan_wedge_mm=0.0):
        here = built(Operated(bone, plan, settings), settings.blade_mm)
        squares = dict.fromkeys(here, 0.0)
        for name, sd in ERRORS.items():
            changes = dict.fromkeys(here, 0.0)
            for way in (-sd, sd):
                femur, hand = bone, settings
                if hasattr(settings, name):
                    hand = replace(settings, **{name: getattr(settings, name) + way})
                elif getattr(bone, name) is not None:
                    femur = replace(bone, **{name: getattr(bone, name) + way})
                try:
                    operated_so = Operated(femur, plan, hand)
                except ValueError:
                    with pytest.raises(NotPossible, match="wire_misses_shaft"):
                        result(femur, plan, hand)
                    continue
                there = built(operated_so, settings.blade_mm)
                for key in here:
                    off = apart_deg(there[key], here[key]) if key.endswith("_deg") else abs(there[key] - here[key])
                    changes[key] = max(changes[key], off)
            for key in here:
                squares[key] += changes[key] ** 2
        told = ranges_of(bone, plan, settings, ERRORS, REACH)
        for key in here.keys() - {"blade_mm"}:
            reach = REACH * np.sqrt(squares[key])
            low, high = here[key] - reach, here[key] + reach
            ends = (max(low, 0), min(high, 1)) if key == "contact_share" else (low, high)
            assert told[key] == pytest.approx(ends, abs=0.1), key


@pytest.mark.parametrize("sign", [1, -1])
def test_ranges_do_not_jump_where_an_error_carries_the_version_past_a_right_angle(sign):
    for bone, plan, _ in planned(seed=37, count=20, bone_flexion_deg=0.0, bone_flexion_frame="neck_plane"):
        wide = []
        for version_deg in (82.0, 85.0):
            near = replace(bone, version_deg=sign * version_deg, epiphyseal_deg=60.0)
            settings = solved(near, plan).settings
            assert settings is not None
            told = ranges_of(near, plan, settings, ERRORS, REACH)
            wide.append([np.ptp(told[key]) for key in ("epiphyseal_after_deg", "blade_margin_physis_mm")])
        assert wide[1] == pytest.approx(wide[0], rel=0.2)
