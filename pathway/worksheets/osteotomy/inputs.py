"""What the worksheet of the upper femur starts from: its inputs, and what is worked out of them once for all parts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from pathway.protocol.model import Implant
from pathway.record import Side
from pathway.upper_femur.model import knee_below_crossing_mm
from pathway.upper_femur.targets import neck_shaft_for_epiphyseal
from pathway.worksheets.case import Case, Inputs, blank, from_finding, from_rule
from pathway.worksheets.osteotomy import angles
from pathway.worksheets.osteotomy.frames import STRAIGHT_DEG, NeckAngles
from pathway.worksheets.osteotomy.numbers import (
    Modelled,
    bone_of,
    model_inputs,
    modelled,
    numbers_of,
    plan_of,
    side_of,
)
from pathway.worksheets.osteotomy.version import VERSION, target_version, with_version
from pathway.worksheets.sheet import Input, Kind, SheetNumbers, problem

KIND: Kind = "osteotomy"
LIMITS = (
    "osteotomy_epiphyseal_limit_strict_deg",
    "osteotomy_epiphyseal_limit_middle_deg",
    "osteotomy_epiphyseal_limit_wide_deg",
)
BY_HAND = "by hand"


@dataclass(frozen=True, slots=True)
class Wish:
    """A reason for a correction and the neck-shaft angle that it asks for; None where no correction reaches it."""

    reason: str
    neck_shaft_deg: float | None
    sources: tuple[str, ...] = ()


@dataclass(frozen=True)
class OsteotomyInputs:
    """The inputs of the sheet and what follows from them: the neck now, the correction, the femur in space.

    `model` is the femur in space with what comes of the plan. `worked_out` says that the neck-shaft angle now comes
    from a film of a flexed or turned hip. `wishes` are the corrections asked for, `taken` the one that is planned and
    `aim_deg` its angle, never held back by adduction: what is missing of that is released first. `implants` are those
    at hand, the nearest to the planned one first. `version_between` is None where the version was measured.
    """

    case: Case
    inputs: Inputs
    side: Side
    before: NeckAngles
    worked_out: bool
    wishes: tuple[Wish, ...]
    taken: Wish
    aim_deg: float
    adduction_deg: float | None
    implants: tuple[Implant, ...]
    model: Modelled
    version_between: tuple[float, float] | None = None

    @cached_property
    def numbers(self) -> SheetNumbers:
        """Return what the sheet tells of the model; their ranges take most of the time of a sheet."""
        return numbers_of(self.case, self.model, self.version_between or ())

    @property
    def after(self) -> NeckAngles | None:
        """Return the angles of the neck after the correction, None where nothing can be worked out."""
        angle, version = self.told("neck_shaft_after_deg"), self.told("version_after_deg")
        return None if angle is None or version is None else NeckAngles(angle, version)

    def told(self, name: str) -> float | None:
        """Return one number of the sheet, None where it is not known."""
        found = self.numbers.numbers[name]
        return found if isinstance(found, float) else None

    @property
    def change_deg(self) -> float:
        """Return by how much the neck-shaft angle rises (varus negative); of a refused plan, would rise."""
        after = self.told("neck_shaft_after_deg")
        return (self.aim_deg if after is None else after) - self.before.neck_shaft_deg


def inputs_of(case: Case) -> list[Input]:
    """Return the inputs with the latest findings and the protocol's defaults in them."""
    optional = (
        "neck_shaft_angle_deg",
        "apparent_neck_shaft_angle_deg",
        "film_hip_flexion_deg",
        "film_leg_rotation_deg",
    )
    later = (
        "hilgenreiner_epiphyseal_angle_deg",
        "hip_adduction_deg",
        "hip_abduction_deg",
        "hip_abduction_contracture_deg",
        "hip_flexion_contracture_deg",
        "neck_wire_length_mm",
        "femoral_neck_length_mm",
        "femoral_shaft_width_mm",
        "femur_length_mm",
    )
    most = "osteotomy_cut_most_below_crossing_mm"
    flexion = from_finding(case, "proximal_femur_flexion_deg", optional=True)
    if flexion.value is None:
        flexion = flexion.model_copy(update={"value": 0.0, "note": "not measured: assumed none"})
    difference = from_finding(case, "current_discrepancy_mm", optional=True)
    return [
        *(from_finding(case, name, optional=True) for name in optional),
        from_finding(case, VERSION, optional=True),
        flexion,
        *(from_finding(case, name, optional=True) for name in later),
        difference,
        from_rule(case, "osteotomy_neck_shaft_target_deg", "target neck-shaft angle", name="target_neck_shaft_deg"),
        target_version(case),
        from_rule(case, LIMITS[1], "limit of the epiphyseal angle", name="epiphyseal_limit_deg"),
        from_rule(case, "femoral_axes_angle_deg", "target angle between shaft and axis", name="axes_angle_deg"),
        from_rule(case, "osteotomy_contact_least", "least overlap of the cut faces to be left", name="contact_least"),
        from_rule(case, "osteotomy_cut_below_implant_mm", "cut below the implant's corner", name="cut_below_corner_mm"),
        blank(case, most, "cut_below_crossing_mm", "cut below the intersection of the axes", optional=True),
        from_rule(case, "osteotomy_blade_margin_mm", "distance from blade tip to growth plate", name="blade_margin_mm"),
        from_rule(case, "osteotomy_blade_proud_mm", "blade left protruding for impaction", name="blade_proud_mm"),
        from_rule(case, "osteotomy_wire_offset_step_deg", "step of the guide wire angle", name="wire_step_deg"),
        from_rule(
            case, "osteotomy_wire_offset_most_deg", "largest guide wire angle to the neck axis", name="wire_most_deg"
        ),
        from_rule(
            case, "osteotomy_wire_triangle_deg", "angle of the positioning guide for the wire", name="triangle_deg"
        ),
        _implant_angles(case),
        *model_inputs(case),
        Input(name="single_cut", label="single cut for the whole correction", kind="flag", value=False, optional=True),
    ]


def _implant_angles(case: Case) -> Input:
    listed = sorted({item.angle_deg for item in case.protocol.implants}, reverse=True)
    sources = tuple(dict.fromkeys(id for item in case.protocol.implants for id in item.sources))
    bounds = case.protocol.finding("neck_shaft_angle_deg").plausible
    return Input(
        name="implants_deg",
        label="implants available",
        unit="deg",
        kind="list",
        value=tuple(listed),
        plausible=bounds,
        origin="protocol",
        sources=sources,
        note="those of the protocol or the clinic's overlay",
    )


def osteotomy_inputs_of(case: Case, inputs: Inputs) -> OsteotomyInputs:
    """Return everything the parts of the sheet need; raises Refused for inputs that do not fit each other."""
    inputs, unknown = with_version(case, inputs)
    version = inputs.number(VERSION)
    now, worked_out = _neck_shaft_now(inputs, version)
    wishes = _wishes(case, inputs, now)
    taken, aim = _taken(inputs, wishes)
    if not 0 < aim < STRAIGHT_DEG:
        do = "check the angles measured, or give --set target_neck_shaft_deg=…"
        raise problem(KIND, taken.reason, f"a neck-shaft angle of {aim:.0f} deg after it", "one that can be", do)
    at_hand = implants_of(case, inputs.numbers("implants_deg"))
    of_model = modelled(case, inputs, now, aim)
    _check_lengths(inputs, of_model)
    return OsteotomyInputs(
        case=case,
        inputs=inputs,
        side=side_of(case, inputs),
        before=NeckAngles(now, version),
        worked_out=worked_out,
        wishes=wishes,
        taken=taken,
        aim_deg=aim,
        adduction_deg=_adduction(inputs),
        implants=tuple(sorted(at_hand, key=lambda item: abs(item.angle_deg - of_model.plan.implant_deg))),
        model=of_model,
        version_between=unknown,
    )


def implants_of(case: Case, angles_deg: Sequence[float]) -> tuple[Implant, ...]:
    """Return the implants at hand with these angles; an angle that none of the list has comes without lengths known.

    A list given by hand takes every implant of that angle from the protocol. Raises Refused for an angle that
    no implant can have.
    """
    for angle in angles_deg:
        if not 0 < angle < STRAIGHT_DEG:
            do = "give the angles between blade or screw and shaft, such as 120,130"
            raise problem(KIND, "implants_deg", f"{angle:g} deg", f"above 0 and below {STRAIGHT_DEG:g} deg", do)
    listed = [item for item in case.protocol.implants if item.angle_deg in angles_deg]
    new = [angle for angle in dict.fromkeys(angles_deg) if angle not in {item.angle_deg for item in listed}]
    lengths = tuple(sorted({length for item in case.protocol.implants for length in item.lengths_mm}))
    made = [
        Implant(
            id=f"by_hand_{angle:g}",
            label=f"implant {angle:g} deg",
            design="blade_plate",
            angle_deg=angle,
            lengths_mm=lengths,
            because="Entered by hand; lengths as in the list.",
            provenance="judgement",
            sources=("own_judgement",),
        )
        for angle in new
        if lengths
    ]
    return (*listed, *made)


def _neck_shaft_now(inputs: Inputs, version_deg: float) -> tuple[float, bool]:
    """Return the true neck-shaft angle, and whether it had to be worked out from a film."""
    known, shown = inputs.maybe("neck_shaft_angle_deg"), inputs.maybe("apparent_neck_shaft_angle_deg")
    by_hand = inputs.item("apparent_neck_shaft_angle_deg").origin == "by_hand"
    if known is not None and not (by_hand and inputs.item("neck_shaft_angle_deg").origin != "by_hand"):
        return known, False
    if shown is None:
        do = "measure it, or give --set neck_shaft_angle_deg=…, or the film's angle as apparent_neck_shaft_angle_deg"
        raise problem(KIND, "neck_shaft_angle_deg", "no value", "the neck-shaft angle in deg", do)
    turned, flexed = inputs.maybe("film_leg_rotation_deg") or 0.0, inputs.maybe("film_hip_flexion_deg") or 0.0
    try:
        return angles.true_deg(shown, version_deg, turned, flexed), True
    except angles.NotShown as error:
        expected = "version and outward rotation under 90 deg together"
        raise problem(KIND, "film_leg_rotation_deg", str(error), expected, "take the angle from a scan") from error


def _adduction(inputs: Inputs) -> float | None:
    """Return how far the hip can be brought inward; an abduction contracture is less than none."""
    measured = inputs.maybe("hip_adduction_deg")
    contracture = inputs.maybe("hip_abduction_contracture_deg")
    if measured is not None:
        return measured
    return -contracture if contracture else None


def _wishes(case: Case, inputs: Inputs, now_deg: float) -> tuple[Wish, ...]:
    """Return the corrections asked for: by the neck-shaft angle and by each limit of the epiphyseal angle."""
    target = inputs.item("target_neck_shaft_deg")
    rule = case.protocol.value("osteotomy_neck_shaft_target_deg")
    aimed = inputs.number("target_neck_shaft_deg")
    aims = {aimed}
    if target.origin != "by_hand":
        aims |= {bound for bound in (rule.low, rule.high) if bound is not None}
    wishes = [Wish(f"neck-shaft angle {aim:g}", aim, target.sources) for aim in sorted(aims)]
    bone, plan = bone_of(inputs, side_of(case, inputs), now_deg), plan_of(inputs, aimed)
    if bone.epiphyseal_deg is not None:
        limits = {case.protocol.number(id): case.protocol.value(id).sources for id in LIMITS}
        limits.setdefault(inputs.number("epiphyseal_limit_deg"), inputs.item("epiphyseal_limit_deg").sources)
        wishes += [
            Wish(f"epiphyseal angle {limit:g}", neck_shaft_for_epiphyseal(bone, plan, limit), limits[limit])
            for limit in sorted(limits)
        ]
    return tuple(wishes)


def _taken(inputs: Inputs, wishes: Sequence[Wish]) -> tuple[Wish, float]:
    """Return the correction that is planned and its angle: the larger of the two wishes.

    A target set by hand is taken as it is. Adduction does not make it smaller: what is missing is released first.
    """
    aimed, limit = inputs.number("target_neck_shaft_deg"), inputs.number("epiphyseal_limit_deg")
    names = (f"neck-shaft angle {aimed:g}", f"epiphyseal angle {limit:g}")
    if inputs.item("target_neck_shaft_deg").origin == "by_hand":
        return Wish(f"{names[0]} {BY_HAND}", aimed), aimed
    followed = [(wish, wish.neck_shaft_deg) for wish in wishes if wish.reason in names]
    return max(((wish, angle) for wish, angle in followed if angle is not None), key=lambda item: item[1])


def _check_lengths(inputs: Inputs, of: Modelled) -> None:
    """Refuse a neck longer than the bone, and a cut at the knee or below it."""
    if not {"neck", "width"} <= of.known or inputs.maybe("femur_length_mm") is None:
        return
    knee = knee_below_crossing_mm(of.bone)
    if "length" not in of.known or knee <= 0:
        do = "check both lengths"
        found = "the neck is longer than the bone"
        raise problem(KIND, "femoral_neck_length_mm", found, "a neck shorter than the femur", do)
    cut = of.cut_below_crossing_mm
    if cut is not None and cut >= knee:
        name = "cut_below_crossing_mm" if inputs.maybe("cut_below_crossing_mm") is not None else "cut_below_corner_mm"
        do = f"set {name} to a smaller value"
        raise problem(KIND, name, f"{cut:.0f} mm", f"less than the {knee:.0f} mm to the knee", do)
