"""Random upper femora and plans in plausible ranges: invented, of nobody."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pathway.upper_femur.model import Femur, Plan, Settings, solved

ENOUGH = 500


def femora(seed: int, **fixed: object) -> Iterator[tuple[Femur, Plan]]:
    """Yield bones and plans without end, the fields named in `bone_` and `plan_` held."""
    draw = np.random.default_rng(seed)

    def between(low: float, high: float) -> float:
        return float(draw.uniform(low, high))

    while True:
        neck, width, neck_width = between(25, 50), between(14, 30), between(14, 30)
        bone = {
            "side": str(draw.choice(["left", "right"])),
            "neck_shaft_deg": between(60, 150),
            "version_deg": between(-60, 60),
            "flexion_deg": between(-40, 60),
            "flexion_frame": str(draw.choice(["shaft_side", "neck_plane"])),
            "epiphyseal_deg": between(20, 85) if draw.random() < 0.7 else None,
            "neck_mm": neck,
            "shaft_width_mm": width,
            "neck_width_mm": neck_width,
            "neck_depth_mm": neck_width * between(0.6, 1.4),
            "neck_wire_mm": neck * between(0.9, 1.3),
            "length_mm": between(140, 420),
        }
        plan = {
            "neck_shaft_deg": between(110, 150),
            "version_deg": between(-10, 40),
            "implant_deg": between(90, 150),
            "wire_through_mm": neck * between(0.2, 0.8),
            "cut_below_corner_mm": between(5, 40),
            "proud_mm": between(0, 6),
            "offset_mm": between(-3, 8),
            "blade_width_mm": between(0, 12),
            "blade_thickness_mm": between(0, 6),
            "blade_mm": between(15, 60) if draw.random() < 0.5 else None,
            "blade_margin_mm": between(0, 6),
            "cortex_margin_mm": between(0, 2),
            "bridge_least_mm": between(0, 12),
            "wedge_mm": between(0, 12) if draw.random() < 0.5 else 0.0,
            "wedge_from": str(draw.choice(["shaft", "upper"])),
            "film_rotation_deg": between(-30, 30),
            "film_flexion_deg": between(0, 50),
            "adduction_left_deg": 20.0,
        }
        for name, value in fixed.items():
            (bone if name.startswith("bone_") else plan)[name[len("bone_") :]] = value
        yield Femur(**bone), Plan(**plan)


def planned(seed: int, count: int = ENOUGH, **fixed: object) -> list[tuple[Femur, Plan, Settings]]:
    """Return so many bones and plans that can be worked out, with the settings that do it."""
    found: list[tuple[Femur, Plan, Settings]] = []
    for tried, (bone, plan) in enumerate(femora(seed, **fixed)):
        settings = solved(bone, plan).settings
        if settings is not None:
            found.append((bone, plan, settings))
        if len(found) == count:
            return found
        assert tried < 4 * count, "most of these femora can be worked out"
    raise AssertionError
