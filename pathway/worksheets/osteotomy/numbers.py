"""The signed numbers of the sheet, from the one model of the femur in space, for theatre page and programs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Final

from pathway.record import Side
from pathway.upper_femur import model
from pathway.worksheets.case import Case, Inputs, from_rule
from pathway.worksheets.sheet import Input, NumberRange, SheetNumbers, problem

SIDE, FRAME, WEDGE_FROM = "side", "flexion_frame", "wedge_from"
NAMES: Final = (
    "neck_shaft_before_deg",
    "version_before_deg",
    "flexion_before_deg",
    "neck_shaft_after_deg",
    "version_after_deg",
    "film_neck_shaft_before_deg",
    "film_neck_shaft_after_deg",
    "epiphyseal_before_deg",
    "epiphyseal_after_deg",
    "valgus_deg",
    "extension_deg",
    "rotation_deg",
    "total_turn_deg",
    "total_axis",
    "wire_front_deg",
    "wire_side_deg",
    "slot_deg",
    "implant_deg",
    "blade_mm",
    "blade_margin_physis_mm",
    "blade_margin_cortex_mm",
    "cut_below_corner_mm",
    "wedge_mm",
    "plate_shift_mm",
    "contact_share",
    "length_gain_mm",
    "adduction_needed_deg",
)
"""Every number of the sheet, in this order; one that is not known is null and never absent."""
ERRORS: Mapping[str, str] = {
    "neck_shaft_deg": "neck_shaft_deg",
    "version_deg": "version_deg",
    "flexion_deg": "flexion_deg",
    "epiphyseal_deg": "epiphyseal_deg",
    "neck_mm": "neck_mm",
    "shaft_width_mm": "shaft_width_mm",
    "neck_wire_mm": "neck_wire_mm",
    "cut_below_corner_mm": "cut_mm",
    "wire_front_deg": "wire_front_deg",
    "wire_side_deg": "wire_side_deg",
    "slot_deg": "slot_deg",
    "rotation_deg": "rotation_deg",
}
"""The rule (`osteotomy_error_…`) that gives the SD of each quantity of the model."""
LIMITS_95 = 0.975
LENGTHS: Mapping[str, tuple[str, ...]] = {
    "blade_mm": ("neck", "width", "wire"),
    "blade_margin_physis_mm": ("neck", "width", "wire"),
    "blade_margin_cortex_mm": ("neck", "width", "wire", "neck_width"),
    "plate_shift_mm": ("neck", "width"),
    "contact_share": ("neck", "width"),
    "plate_shift_forward_mm": ("neck", "width"),
    "bridge_mm": ("neck", "width"),
    "wedge_full_mm": ("width",),
    "length_gain_mm": ("neck", "width", "length"),
}
"""Which sizes of the bone a number needs; without them it is not known."""
NEEDS: Mapping[model.Refusal, tuple[str, ...]] = {
    "wire_misses_shaft": ("neck", "width"),
    "wire_along_physis": ("neck", "width", "wire"),
    "blade_leaves_neck": LENGTHS["blade_margin_cortex_mm"],
    "blade_crosses_physis_margin": LENGTHS["blade_margin_physis_mm"],
    "wedge_meets_blade": ("neck", "width"),
    "bridge_too_small": ("neck", "width"),
    "wedge_too_large": ("width",),
}


def model_inputs(case: Case) -> tuple[Input, ...]:
    """Return the inputs that only the model has, with the rules' defaults; each may be set by hand on any case."""

    def free(name: str, label: str, unit: str, plausible: tuple[float, float], value: float | None = None) -> Input:
        return Input(name=name, label=label, unit=unit, plausible=plausible, value=value, optional=True)

    return (
        Input(
            name=SIDE,
            label="side",
            kind="choice",
            choices=("left", "right"),
            value=case.side,
            # Of a child affected on both sides the record does not say which.
            origin="none" if case.record.child.affected_side == "both" else "record",
            optional=True,
        ),
        Input(
            name=FRAME,
            label="frame in which flexion is meant",
            kind="choice",
            choices=("shaft_side", "neck_plane"),
            value="shaft_side",
            optional=True,
            note="the shaft's true side view, or the plane of neck and shaft",
        ),
        free("epiphyseal_angle_deg", "epiphyseal angle on a front film, shaft upright", "deg", (0, 90)),
        free("implant_deg", "implant used, blade or screw against plate", "deg", (60, 170)),
        free("neck_width_mm", "width of the neck in the plane of neck and shaft", "mm", (4, 60)),
        free("neck_depth_mm", "depth of the neck across that plane", "mm", (4, 60)),
        free("wire_through_mm", "where the wire passes the neck's axis, from the crossing", "mm", (0, 80)),
        free("implant_proud_mm", "implant's corner outside the entry", "mm", (0, 30), 0.0),
        free("implant_offset_mm", "plate inward of the corner", "mm", (-30, 30), 0.0),
        free("blade_width_mm", "width of the blade", "mm", (0, 40), 0.0),
        free("blade_thickness_mm", "thickness of the blade", "mm", (0, 20), 0.0),
        free("blade_mm", "blade used, corner to tip", "mm", (1, 120)),
        free("cortex_margin_mm", "least distance of blade to cortex", "mm", (0, 20), 0.0),
        free("bridge_least_mm", "least bone between blade and cut", "mm", (0, 30), 0.0),
        free("wedge_mm", "wedge taken, at its base", "mm", (0, 60), 0.0),
        Input(
            name=WEDGE_FROM,
            label="wedge taken from",
            kind="choice",
            choices=("shaft", "upper"),
            value="shaft",
            optional=True,
        ),
        from_rule(case, "osteotomy_adduction_left_deg", "adduction to be left", name="adduction_left_deg"),
        free("hip_adduction_after_release_deg", "adduction after the release, on the table", "deg", (-60, 120)),
        free("found_wire_front_deg", "wire as it lies, front view", "deg", (0, 180)),
        free("found_wire_side_deg", "wire as it lies, side view", "deg", (-89, 89)),
    )


@dataclass(frozen=True, slots=True)
class Modelled:
    """The bone and the plan as the model has them, what comes of it, and which sizes of the bone are known."""

    bone: model.Femur
    plan: model.Plan
    found: model.Result
    known: frozenset[str]

    @property
    def cut_below_crossing_mm(self) -> float | None:
        """Return how far below the crossing of the axes the cut lies; None where no settings or sizes are known."""
        if self.found.settings is None or not {"neck", "width"} <= self.known:
            return None
        return -model.placement(self.bone, self.plan, self.found.settings).level_mm

    def told(self, name: str, found: model.Result | None = None) -> float | None:
        """Return one number of the plan, or of a change of it: None where it hangs on a size that nobody measured."""
        if not set(LENGTHS.get(name, ())) <= self.known:
            return None
        return (self.found if found is None else found).numbers.get(name)


def modelled(case: Case, inputs: Inputs, neck_shaft_deg: float, target_deg: float) -> Modelled:
    """Return the model of a sheet's inputs; sizes that nobody measured stand in where a number does not need them."""
    bone, plan = bone_of(inputs, side_of(case, inputs), neck_shaft_deg), plan_of(inputs, target_deg)
    known = _known(inputs)
    if not {"neck", "width"} <= known:
        # Angles do not hang on where the wire lies.
        plan = replace(plan, wire_through_mm=0.0)
    if "wire" not in known and plan.blade_mm is None:
        plan = replace(plan, blade_mm=0.0)
    plan = _cut_by_hand(inputs, bone, plan, known)
    return Modelled(bone, plan, model.solved(bone, plan), known)


def _cut_by_hand(inputs: Inputs, bone: model.Femur, plan: model.Plan, known: frozenset[str]) -> model.Plan:
    """Return the plan with a cut that is set from the crossing of the axes counted from the implant's corner.

    Raises Refused where both are set, where the bone is not measured, and for a cut that is not below the corner.
    """
    name, below = "cut_below_crossing_mm", inputs.maybe("cut_below_crossing_mm")
    if below is None:
        return plan
    if inputs.item("cut_below_corner_mm").origin == "by_hand":
        found = "the cut set from the crossing and from the corner"
        raise problem("osteotomy", name, found, "one of the two", "leave one of them out")
    if not {"neck", "width"} <= known:
        do = "give --set femoral_neck_length_mm=… and --set femoral_shaft_width_mm=…, or set cut_below_corner_mm"
        raise problem("osteotomy", name, "no corner to count from", "neck and shaft measured", do)
    try:
        corner = model.placement(bone, plan, model.settings_of(bone, plan)).corner
    except model.NotPossible:
        return plan
    cut = float(corner @ model.U) + below
    if cut <= 0:
        expected = f"more than {-float(corner @ model.U):.1f} mm, where the implant's corner lies"
        raise problem("osteotomy", name, f"{below:g} mm", expected, "set it lower")
    return replace(plan, cut_below_corner_mm=cut)


SIZES: Mapping[str, str] = {
    "neck": "femoral_neck_length_mm",
    "width": "femoral_shaft_width_mm",
    "wire": "neck_wire_length_mm",
    "length": "femur_length_mm",
    "neck_width": "neck_width_mm",
}
"""The input that gives each size of the bone."""


def lacking(of: Modelled) -> tuple[str, ...]:
    """Return the inputs without which no page for the table can be drawn to scale."""
    return tuple(name for size, name in SIZES.items() if size not in of.known)


def numbers_of(case: Case, of: Modelled, versions_deg: Sequence[float] = ()) -> SheetNumbers:
    """Return the numbers of the sheet with their ranges, and why the plan is refused.

    `versions_deg` are other versions that the bone may have: the ranges then hold what the plan would be for each.
    """
    bone, plan, found = of.bone, of.plan, of.found
    ranges: dict[str, tuple[float, float]] = {}
    if found.settings is not None:
        errors = {name: case.protocol.number(f"osteotomy_error_{rule}") for name, rule in ERRORS.items()}
        reach = NormalDist().inv_cdf(LIMITS_95)
        ranges = model.ranges_of(bone, plan, found.settings, errors, reach)
        for version in versions_deg:
            there = model.solved(replace(bone, version_deg=version), plan).numbers
            for name, (low, high) in ranges.items():
                other, here = there.get(name), found.numbers[name]
                if other is not None and here is not None:
                    ranges[name] = min(low, low + other - here), max(high, high + other - here)
    told: dict[str, float | tuple[float, float, float] | None] = {}
    for name in NAMES:
        told[name] = found.axis if name == "total_axis" else _rounded(of.told(name))
    return SheetNumbers(
        numbers=told,
        ranges={
            name: NumberRange(low=round(ranges[name][0], 4), high=round(ranges[name][1], 4))
            for name in NAMES
            if told[name] is not None and name in ranges
        },
        refused=refused_for(of, found),
    )


def refused_for(of: Modelled, found: model.Result) -> tuple[model.Refusal, ...]:
    """Return why a result of this bone is refused, as far as the bone is measured."""
    return tuple(reason for reason in found.refused if set(NEEDS.get(reason, ())) <= of.known)


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 6) + 0.0


def _known(inputs: Inputs) -> frozenset[str]:
    known = {name for name, key in SIZES.items() if inputs.maybe(key) is not None}
    neck, length = inputs.maybe("femoral_neck_length_mm"), inputs.maybe("femur_length_mm")
    if neck is not None and length is not None and length <= neck:
        known.discard("length")  # no femur is shorter than its neck: one of the two is wrong
    return frozenset(known)


UNKNOWN_MM = 10.0
"""Stands in for a size that nobody measured where a number that does not hang on it is worked out."""


def bone_of(inputs: Inputs, side: Side, neck_shaft_deg: float) -> model.Femur:
    """Return the bone as measured; sizes that nobody measured stand in."""

    def size(name: str, other: float = UNKNOWN_MM) -> float:
        value = inputs.maybe(name)
        return other if value is None else value

    slope = inputs.maybe("epiphyseal_angle_deg")
    neck, wide = size("femoral_neck_length_mm"), size("neck_width_mm")
    return model.Femur(
        side=side,
        neck_shaft_deg=neck_shaft_deg,
        version_deg=inputs.number("femoral_version_deg"),
        flexion_deg=inputs.number("proximal_femur_flexion_deg"),
        flexion_frame="neck_plane" if inputs.item(FRAME).value == "neck_plane" else "shaft_side",
        epiphyseal_deg=inputs.maybe("hilgenreiner_epiphyseal_angle_deg") if slope is None else slope,
        neck_mm=neck,
        shaft_width_mm=size("femoral_shaft_width_mm"),
        neck_width_mm=wide,
        neck_depth_mm=size("neck_depth_mm", wide),
        neck_wire_mm=size("neck_wire_length_mm", 2 * neck),
        length_mm=max(size("femur_length_mm", 10 * neck), neck),
    )


def plan_of(inputs: Inputs, target_deg: float) -> model.Plan:
    """Return what is wanted and used: the implant set by hand, else the one at hand nearest the target."""
    neck = inputs.maybe("femoral_neck_length_mm") or UNKNOWN_MM
    implant = inputs.maybe("implant_deg")
    if implant is None:
        implant = model.nearest_implant_deg(inputs.numbers("implants_deg"), target_deg)
    through = inputs.maybe("wire_through_mm")
    front, side = inputs.maybe("found_wire_front_deg"), inputs.maybe("found_wire_side_deg")
    return model.Plan(
        neck_shaft_deg=target_deg,
        version_deg=inputs.number("target_version_deg"),
        implant_deg=implant,
        wire_through_mm=neck / 2 if through is None else through,
        cut_below_corner_mm=inputs.number("cut_below_corner_mm"),
        proud_mm=inputs.number("implant_proud_mm"),
        offset_mm=inputs.number("implant_offset_mm"),
        blade_width_mm=inputs.number("blade_width_mm"),
        blade_thickness_mm=inputs.number("blade_thickness_mm"),
        blade_mm=inputs.maybe("blade_mm"),
        blade_margin_mm=inputs.number("blade_margin_mm"),
        cortex_margin_mm=inputs.number("cortex_margin_mm"),
        bridge_least_mm=inputs.number("bridge_least_mm"),
        wedge_mm=inputs.number("wedge_mm"),
        wedge_from="upper" if inputs.item(WEDGE_FROM).value == "upper" else "shaft",
        film_rotation_deg=inputs.maybe("film_leg_rotation_deg") or 0.0,
        film_flexion_deg=inputs.maybe("film_hip_flexion_deg") or 0.0,
        adduction_left_deg=inputs.number("adduction_left_deg"),
        found_wire=None if front is None or side is None else (front, side),
    )


def side_of(case: Case, inputs: Inputs) -> Side:
    """Return the side that is operated on: the one set by hand, else that of the case."""
    return "right" if inputs.item(SIDE).value == "right" else "left" if inputs.item(SIDE).value == "left" else case.side
