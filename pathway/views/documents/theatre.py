"""The page for the table: what is set, in which order, what is checked and when to stop; then the bone at life size."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from pathway.upper_femur.fits import REASONS, Fit, all_at_once, fits, least_bridge_mm, other_implants
from pathway.upper_femur.model import (
    LEVEL_DEG,
    Femur,
    NotPossible,
    Plan,
    Refusal,
    Result,
    Settings,
    result,
)
from pathway.views.documents.document import (
    Block,
    Bullets,
    Callout,
    Document,
    Figure,
    Heading,
    Paragraph,
    Readings,
    Table,
)
from pathway.views.drawings.femur import femur_drawings

Ranges = Mapping[str, tuple[float, float]]
NO_STEPS = "This plan is refused. Do not operate by it: no steps are printed."
ORDER = "Order of the steps: common practice."
MEASURED = "Numbers: the geometry of this bone as it was measured, nothing else."
NOT_ALL_MEASURED = "Numbers: the geometry of this bone with the sizes below, of which not all were measured."
NO_BLADE = "no: every blade available is longer"
STOPPED = "no: outside the protocol, see the top"
ELSE = "Anything else: enter it and print the page anew."
FRAMES = {
    "shaft_side": "Flexion and extension are about the line across the shaft, as the knee's condyles lie.",
    "neck_plane": "Flexion and extension are about the line square to the shaft in the plane of neck and shaft.",
}
WIRES = {
    "shaft_side": "square to the shaft, straight from the front with the kneecap forward",
    "neck_plane": "square to the plane of neck and shaft",
}


WAYS: Mapping[str, tuple[str, str]] = {
    "wire_side_deg": ("to the front", "to the back"),
    "slot_deg": ("backward", "forward"),
    "rotation_deg": ("inward", "outward"),
    "plate_shift_mm": ("outward", "inward"),
    "extension_deg": ("backward", "forward"),
}
"""Numbers whose sign is a way: told by their size and the way, for a sign beside a word is read as its opposite."""
SHORT = {
    "": "",
    "to the front": "front",
    "to the back": "back",
    "backward": "back",
    "forward": "front",
    "inward": "in",
    "outward": "out",
}
SAW = "THE SAW WOULD MEET THE BLADE"
OUTSIDE = "OUTSIDE THE PROTOCOL: do not operate by this page"
WITHHELD = "No steps are printed while the plan stands so: change it as said above and print the page again."


@dataclass(frozen=True, slots=True)
class Head:
    """Whose page it is: the child's pseudonym, the day, and what must stand on everything.

    `stops` say why the plan is outside the protocol, `notes` what else its sheet warns of, `assumed` what was not
    measured. `sizes` are those that the numbers rest on, each with its label, its value and who gave it; `measured`
    says that all of them were measured. `shortest_blade_mm` is the shortest one available, None where none is known.
    `done_on` is the day on which the record has this operation as done.
    """

    child: str
    on: datetime.date
    cautions: tuple[str, ...]
    stops: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    sizes: tuple[tuple[str, str, str], ...] = ()
    measured: bool = True
    done_on: datetime.date | None = None
    shortest_blade_mm: float | None = None


def theatre(
    bone: Femur,
    plan: Plan,
    found: Result,
    ranges: Ranges,
    head: Head,
    implants_deg: Sequence[float] = (),
    *,
    drawn: bool = True,
) -> Document:
    """Return the page for the table of a plan as `solved` found it; of a refused plan the reasons and no steps.

    `ranges` are those of `ranges_of`, {} where none are known; `implants_deg` the angles of the implants available.
    Without `drawn` the life-size figures are left out.
    """
    side = bone.side.upper()
    what = "PLAN REFUSED" if found.refused else "NOT FOR USE AS IT STANDS" if head.stops else "plan for the table"
    title = f"{side} FEMUR: {what}"
    footer = f"{head.child} · {side} · {head.on} · {head.cautions[0] if head.cautions else ''}"
    if found.refused or found.settings is None:
        blocks = tuple(_warned(head)) + tuple(_refused(bone, plan, found, head, implants_deg))
    else:
        blocks = tuple(_warned(head)) + tuple(_allowed(bone, plan, found, found.settings, ranges, head, implants_deg))
        if drawn:
            blocks += tuple(Figure(one, one, life_size=True) for one in femur_drawings(bone, plan, found.settings))
    return Document(title, f"{head.child}, as planned on {head.on}", "en", footer, blocks, dense=True)


def _warned(head: Head) -> Iterator[Block]:
    """Yield that the operation was done, and why the plan is outside the protocol, above everything else."""
    if head.done_on is not None:
        yield Callout(f"ALREADY DONE on {head.done_on}, by the record", ("This page is of a plan before it.",))
    if head.stops:
        yield Callout(OUTSIDE, head.stops)


def _noted(head: Head) -> Iterator[Block]:
    """Yield what else the sheet warns of, and what nobody measured."""
    if head.notes:
        yield Callout("TAKE CARE", head.notes)
    if head.assumed:
        yield Callout("ASSUMED, NOT MEASURED", head.assumed)


def _refused(bone: Femur, plan: Plan, found: Result, head: Head, implants_deg: Sequence[float]) -> Iterator[Block]:
    answers = fits(bone, plan, found)
    yield Callout(NO_STEPS, ())
    for one in found.refused:
        yield Paragraph(f"{REASONS[one]} {_value_of(one, plan, found)}", "lead")
    yield Callout("", head.cautions)
    yield Paragraph(f"What is refused: {_entered(bone, plan, found)}.")
    yield from _noted(head)
    yield Heading("What would fit")
    yield Bullets(tuple(_answer(one, answers[one]) for one in found.refused))
    together = all_at_once(bone, plan, found) if len(found.refused) > 1 else None
    if together is not None:
        changed, there = together
        yield Paragraph(
            f"All at once: blade up to {_down(there.numbers['blade_mm'])} mm, cut {_up(changed.cut_below_corner_mm)} mm"
            f" below the corner, wedge {_mm(changed.wedge_mm)}, neck-shaft angle {_deg(changed.neck_shaft_deg)}."
        )
    others = other_implants(bone, plan, implants_deg)
    if others:
        yield Paragraph("Not refused with all else the same:")
        yield Bullets(tuple(f"Implant {angle:g} deg: {_other(one)}." for angle, one in others.items()))
    elif [angle for angle in implants_deg if angle != plan.implant_deg]:
        yield Paragraph("None of the other implants available is allowed with all else the same.")
    else:
        yield Paragraph("No other implant was tried.")
    yield Paragraph("Each of these was worked out again; enter it and print the page anew.", "small")
    yield from _sizes(head)


def _entered(bone: Femur, plan: Plan, found: Result) -> str:
    wire = ""
    if found.settings is not None:
        front, side = found.numbers["wire_front_deg"], found.numbers["wire_side_deg"]
        wire = f", wire at {_deg(front)} in front (inner side) and {_sided(side)} in the side view"
    blade = found.numbers.get("blade_mm") if plan.blade_mm is None else plan.blade_mm
    length = "" if blade is None else f", blade {_mm(blade)}"
    wedge = f", wedge {_mm(plan.wedge_mm)} from the {_piece(plan)}" if plan.wedge_mm else ""
    return (
        f"neck-shaft angle {_deg(bone.neck_shaft_deg)} to {_deg(plan.neck_shaft_deg)}, version"
        f" {_deg(bone.version_deg)} to {_deg(plan.version_deg)}, flexion {_deg(bone.flexion_deg)};"
        f" implant {plan.implant_deg:g} deg{wire}{length}, cut {_mm(plan.cut_below_corner_mm)} below the corner{wedge}"
    )


def _other(one: Result) -> str:
    of = one.numbers
    return (
        f"wire at {_deg(of['wire_front_deg'])} in front and {_sided(of['wire_side_deg'])} in the side view, blade up to"
        f" {_down(of['blade_mm'])} mm; neck-shaft angle {_deg(of['neck_shaft_after_deg'])}, version"
        f" {_deg(of['version_after_deg'])}, adduction free {_deg(of['adduction_needed_deg'])}"
    )


def _sided(value: float | None) -> str:
    """Return the wire's angle in the side view with its way in words, for a sign alone is read either way."""
    way = _way(value, " to the front", " to the back")
    return f"{_deg(abs(value or 0.0))}{way}"


def _value_of(refusal: Refusal, plan: Plan, found: Result) -> str:
    of = found.numbers
    match refusal:
        case "blade_leaves_neck":
            return f"Nearest edge to cortex {_mm(of['blade_margin_cortex_mm'])}, least {_mm(plan.cortex_margin_mm)}."
        case "blade_crosses_physis_margin":
            return f"Tip to growth plate {_mm(of['blade_margin_physis_mm'])}, least {_mm(plan.blade_margin_mm)}."
        case "bridge_too_small" | "wedge_meets_blade":
            wedge = f", wedge at the entry {_mm(of['wedge_at_entry_mm'])}" if refusal == "wedge_meets_blade" else ""
            return f"Bridge {_mm(of['bridge_mm'])}, least {_mm(plan.bridge_least_mm)}{wedge}."
        case "wedge_too_large":
            return f"Wedge {_mm(plan.wedge_mm)}, full {_mm(of['wedge_full_mm'])}."
        case "rotation_exceeds_turn":
            return f"Rotation {_deg(of['rotation_deg'])}, whole turn {_deg(of['total_turn_deg'])}."
        case _:
            return f"Now {_deg(of['neck_shaft_before_deg'])}, wanted {_deg(plan.neck_shaft_deg)}."


def _answer(refusal: Refusal, fit: Fit | None) -> str:
    if fit is None:
        if refusal == "blade_leaves_neck":
            return "No blade of any length along this wire stays in the neck: another wire or another implant."
        return f"{REASONS[refusal]} The geometry has no single change that answers it: plan anew."
    changed, still = fit.plan, ""
    if fit.left:
        still = f" By itself not enough, still: {' '.join(REASONS[one] for one in fit.left)}"
    match refusal:
        case "blade_leaves_neck" | "blade_crosses_physis_margin":
            return f"Longest blade that fits along this wire: {_down(changed.blade_mm)} mm.{still}"
        case "bridge_too_small":
            return f"Cut at least {_up(changed.cut_below_corner_mm)} mm below the corner.{still}"
        case "wedge_meets_blade":
            return (
                f"A wedge of at most {_down(changed.wedge_mm)} mm from the upper piece, or one from the shaft.{still}"
            )
        case "wedge_too_large":
            return f"A wedge of at most {_down(changed.wedge_mm)} mm.{still}"
        case _:
            return f"Nearest neck-shaft angle that can be worked out: {_deg(changed.neck_shaft_deg)}.{still}"


def _allowed(
    bone: Femur,
    plan: Plan,
    found: Result,
    settings: Settings,
    ranges: Ranges,
    head: Head,
    implants_deg: Sequence[float],
) -> Iterator[Block]:
    yield Callout("", head.cautions)
    yield Readings(tuple(_readings(bone, plan, found, ranges)), columns=4)
    yield Paragraph(
        f"{FRAMES[bone.flexion_frame]} Rotation is told by two wires {WIRES[bone.flexion_frame]}."
        " With each number: between which values it lies when bone and hand vary.",
        "small",
    )
    yield from _noted(head)
    clear = _clear_cut_mm(bone, plan, settings)
    if clear is not None:
        entry, inner = _mm(found.numbers["bridge_mm"]), _mm(settings.cut_below_corner_mm - clear)
        where = f"bridge {entry} at its entry, {inner} on the shaft's inner side"
        yield Callout(f"{SAW}: {where}. Cut {_up(clear)} mm below the corner or lower, or plan another wire", ())
    near = tuple(_near(bone, plan, found, settings, ranges))
    if near:
        yield Callout("Near a limit: allowed as planned, not by every value that bone and hand may have", near)
    yield Heading("Steps")
    if head.stops:
        yield Paragraph(WITHHELD, "lead")
    else:
        yield _step_table(bone, plan, found, settings, ranges)
    yield from _may_be_changed(bone, plan, found, settings, implants_deg, head)
    yield from _sizes(head)


def _sizes(head: Head) -> Iterator[Block]:
    """Yield the sizes that the numbers rest on, with who gave each."""
    if head.sizes:
        yield Heading("Sizes used")
        yield Table(
            "Sizes of the bone that the numbers rest on", ("Size", "Value", "Given by"), head.sizes, (16, 5, 10)
        )


def _step_table(bone: Femur, plan: Plan, found: Result, settings: Settings, ranges: Ranges) -> Table:
    rows = tuple((str(number), *row) for number, row in enumerate(_steps(bone, plan, found, settings, ranges), 1))
    return Table("Steps in order", ("", "Step", "Number", "Check", "Stop if"), rows, (1, 11, 13, 13, 13))


def _may_be_changed(
    bone: Femur, plan: Plan, found: Result, settings: Settings, implants_deg: Sequence[float], head: Head
) -> Iterator[Block]:
    yield Heading("What may be changed at the table, with the same wire and slot")
    free = found.numbers["adduction_needed_deg"] or 0.0
    changes = tuple(_changes(bone, plan, settings, implants_deg, free, head))
    names = ("Change", "Neck-shaft", "Version", "Flexion remaining", "Length gained", "Bridge", "Fits the bone")
    yield Table("Changes at the table", names, changes, (9, 4, 4, 4, 4, 4, 12))
    yield Paragraph(
        "Fits: blade, neck, bridge and wedge in this bone; whether the angles are wanted is for the surgeon."
        f" {ELSE} {ORDER} {MEASURED if head.measured else NOT_ALL_MEASURED}",
        "small",
    )


def _clear_cut_mm(bone: Femur, plan: Plan, settings: Settings) -> float | None:
    """Return how far below the corner a cut clears the blade; None where it does as planned."""
    bridge = least_bridge_mm(bone, plan, settings)
    return settings.cut_below_corner_mm - bridge if bridge < 0 else None


def _readings(bone: Femur, plan: Plan, found: Result, ranges: Ranges) -> Iterator[tuple[str, str, str]]:
    def one(label: str, name: str, unit: str = "deg", way: str = "", value: str = "") -> tuple[str, str, str]:
        small = _joined(way, _between(name, ranges))
        return label, value or _unit(found.numbers[name], unit), small

    def turned(label: str, name: str, what: str = "", unit: str = "deg") -> tuple[str, str, str]:
        between, way = _between(name, ranges), _way(found.numbers[name], *WAYS[name])
        # A range to both sides has its ways already.
        told = what if between.endswith(WAYS[name][0]) else f"{what} {way}".strip()
        return label, f"{_unit(abs(found.numbers[name] or 0.0), unit)} {SHORT[way]}".rstrip(), _joined(told, between)

    of = found.numbers
    off = abs((of["neck_shaft_after_deg"] or 0.0) - plan.neck_shaft_deg) >= 0.05
    aimed = f"aimed at {plan.neck_shaft_deg:g}" if off else ""
    before = f"{_deg(of['neck_shaft_before_deg'])} before"
    yield one("Neck-shaft angle after", "neck_shaft_after_deg", way=_joined(before, aimed))
    yield one("Wire to shaft, front view", "wire_front_deg", way="inner side")
    yield turned("Wire, side view", "wire_side_deg")
    yield one("Implant", "implant_deg")
    yield one("Blade, corner to tip", "blade_mm", "mm", value=f"{_down(of['blade_mm'])} mm")
    yield turned("Slot about the blade", "slot_deg", "lower end")
    clear = None if found.settings is None else _clear_cut_mm(bone, plan, found.settings)
    how = "along the shaft, square to it"
    if clear is not None:
        how = f"NOT there, the saw meets the blade: {_up(clear)} mm or lower"
    yield one("Cut below the corner", "cut_below_corner_mm", "mm", how)
    yield turned("Rotation between the wires", "rotation_deg", "lower piece")
    yield turned("Shift of the shaft", "plate_shift_mm", "", "mm")
    yield turned("Extension of the shaft", "extension_deg", "lower piece")
    yield one("Adduction free after release", "adduction_needed_deg", way="at least")
    yield one(
        "Version after",
        "version_after_deg",
        way=_joined(_way(of["version_after_deg"], "forward", "backward"), f"{_deg(of['version_before_deg'])} before"),
    )
    yield one("Valgus of the shaft", "valgus_deg", way=_way(of["valgus_deg"], "", "varus"))
    yield one("Tip to growth plate", "blade_margin_physis_mm", "mm", f"least {_mm(plan.blade_margin_mm)}")
    if of["epiphyseal_after_deg"] is not None:
        slope = f"{_deg(of['epiphyseal_before_deg'])} before"
        yield one("Growth plate to level, after", "epiphyseal_after_deg", way=slope)
    yield one("Length gained", "length_gain_mm", "mm")


def _near(bone: Femur, plan: Plan, found: Result, settings: Settings, ranges: Ranges) -> Iterator[str]:
    """Yield what may pass its limit within its range, and a blade that falls towards the cut."""
    for name, words, least in (
        ("blade_margin_physis_mm", "Tip to growth plate", plan.blade_margin_mm),
        ("blade_margin_cortex_mm", "Edge of the blade to cortex of the neck", plan.cortex_margin_mm),
    ):
        if name in ranges and ranges[name][0] < least:
            yield f"{words}: {_mm(found.numbers[name])} ({_between(name, ranges)}), least {_mm(least)}."
    bridge = least_bridge_mm(bone, plan, settings)
    if 0 <= bridge < (found.numbers["bridge_mm"] or 0.0) - 0.05:
        yield (
            f"The blade falls inward: bridge {_mm(found.numbers['bridge_mm'])} at its entry, {_mm(bridge)} on the"
            " shaft's inner side."
        )


def _steps(
    bone: Femur, plan: Plan, found: Result, settings: Settings, ranges: Ranges
) -> Iterator[tuple[str, str, str, str]]:
    of = found.numbers

    def told(name: str, unit: str = "deg") -> str:
        between, way = _between(name, ranges), WAYS.get(name)
        turned = "" if way is None else f" {_way(of[name], *way)}".rstrip()
        value = of[name] if way is None else abs(of[name] or 0.0)
        return f"{_unit(value, unit)}{turned}{f' ({between})' if between else ''}"

    needed = told("adduction_needed_deg")
    yield (
        "Release, then examine motion",
        f"Adduction free {needed}",
        "Before any wire is put in",
        f"Less than {_deg(of['adduction_needed_deg'])} after release: do not cut",
    )
    yield (
        "Wire into the neck, two views",
        f"Front {told('wire_front_deg')}; side {told('wire_side_deg')}; through the neck's axis"
        f" {_mm(plan.wire_through_mm)} from its crossing with the shaft's",
        "Kneecap forward in the front view; side view square to the wire",
        "Outside its range in either view: move it, or enter the wire as found and print anew",
    )
    yield (
        "Two wires for rotation, one above and one below the cut",
        "Parallel, 0 deg between them",
        f"They stand {WIRES[bone.flexion_frame]}",
        "They are not parallel",
    )
    yield (
        "Open the outer cortex, chisel the slot",
        f"Slot, lower end {told('slot_deg')}",
        "Against the plane of wire and shaft",
        "The slot cannot be held at this angle",
    )
    yield (
        "Blade along the wire",
        f"Implant {of['implant_deg']:g} deg, blade {_down(of['blade_mm'])} mm; tip to growth plate"
        f" {told('blade_margin_physis_mm', 'mm')}; edge to cortex {told('blade_margin_cortex_mm', 'mm')}",
        "Tip and edges in two views",
        f"Tip nearer than {_mm(plan.blade_margin_mm)} to the growth plate, edge"
        f" {f'nearer than {_mm(plan.cortex_margin_mm)} to the cortex' if plan.cortex_margin_mm else 'in the cortex'}",
    )
    inner = least_bridge_mm(bone, plan, settings)
    clear = _clear_cut_mm(bone, plan, settings)
    level = told("cut_below_corner_mm", "mm")
    if clear is not None:
        level = f"NOT at {_mm(settings.cut_below_corner_mm)}: {_up(clear)} mm or lower"
    yield (
        "Cut, square to the shaft",
        f"{level} below the corner, never higher; bridge {told('bridge_mm', 'mm')} at the blade's"
        f" entry, {_mm(inner)} on the shaft's inner side",
        "Level on the film before the saw, both cortices",
        f"{f'Bridge at the entry less than {_mm(plan.bridge_least_mm)}, or the' if plan.bridge_least_mm else 'The'} saw"
        " meets the blade",
    )
    full = _mm(of["wedge_full_mm"])
    wedge = f"; wedge {told('wedge_mm', 'mm')} from the {_piece(plan)}, {full} would close fully"
    if (of["wedge_full_mm"] or 0.0) < 0.05:
        wedge = ""
    elif not plan.wedge_mm:
        wedge = f"; no wedge: the faces meet at one edge, a gap stays open ({full} would close it)"
    yield (
        "Bring the shaft to the plate",
        f"Valgus {told('valgus_deg')}, extension {told('extension_deg')}; shaft {told('plate_shift_mm', 'mm')}{wedge}",
        f"Overlap of the faces {100 * (of['contact_share'] or 0.0):.0f} %{_share_between(ranges)}",
        "The shaft does not come to the plate without force: release more or shorten (enter it and print anew)",
    )
    yield (
        "Rotate the lower piece",
        f"{told('rotation_deg')} between the wires",
        "Seen along the shaft, lower wire against upper wire",
        "The wires have moved in the bone",
    )
    yield (
        "Fix the plate to the shaft",
        f"Neck-shaft {told('neck_shaft_after_deg')}, version {told('version_after_deg')}",
        "Plate lies along the shaft",
        "Plate and shaft are not parallel",
    )
    yield (
        "Drive the blade home, plate and shaft going with it",
        f"Corner {_mm(plan.proud_mm)} outside its entry",
        "Tip on the film again",
        f"Tip nearer than {_mm(plan.blade_margin_mm)} to the growth plate",
    )
    slope = "" if of["epiphyseal_after_deg"] is None else f"; growth plate {told('epiphyseal_after_deg')}"
    yield (
        "Films in two views, motion again",
        f"Neck-shaft on the film {told('film_neck_shaft_after_deg')}{slope}; length"
        f" gained {told('length_gain_mm', 'mm')}; flexion remaining {told('flexion_after_deg')}",
        f"Leg on the film turned outward {plan.film_rotation_deg:g} deg, hip flexed {plan.film_flexion_deg:g} deg",
        "A value lies outside its range: before closing",
    )


def _changes(
    bone: Femur, plan: Plan, settings: Settings, implants_deg: Sequence[float], free_deg: float, head: Head
) -> Iterator[tuple[str, ...]]:
    least = head.shortest_blade_mm
    *planned, fits = _change("As planned", bone, plan, settings, free_deg, least)
    # What stops the plan at the top of the page stops it here too.
    yield *planned, STOPPED if head.stops and fits.startswith("yes") else fits
    for angle in implants_deg:
        if angle != settings.implant_deg:
            name = f"Implant {angle:g} deg"
            changed = replace(plan, implant_deg=angle), replace(settings, implant_deg=angle)
            yield _change(name, bone, *changed, free_deg, least)
    for way, words in ((1.0, "lower"), (-1.0, "higher")):
        cut = settings.cut_below_corner_mm + way
        if cut > 0:
            changed = replace(plan, cut_below_corner_mm=cut), replace(settings, cut_below_corner_mm=cut)
            yield _change(f"Cut 1 mm {words}", bone, *changed, free_deg, least)
    for way, words in ((1.0, "inward"), (-1.0, "outward")):
        turned = replace(settings, rotation_deg=settings.rotation_deg + way)
        yield _change(f"Rotation 1 deg more {words}", bone, plan, turned, free_deg, least)


def _change(
    name: str, bone: Femur, plan: Plan, settings: Settings, free_deg: float, shortest_blade_mm: float | None
) -> tuple[str, ...]:
    try:
        there = result(bone, plan, settings)
    except NotPossible as error:
        return name, "", "", "", "", "", f"no: {REASONS[error.reason]}"
    of = there.numbers
    against = [REASONS[one] for one in there.refused]
    if max(abs(of["valgus_deg"] or 0.0), abs(of["extension_deg"] or 0.0)) >= LEVEL_DEG:
        against.append(REASONS["over_90"])
    allowed = f"no: {' '.join(against)}" if against else "yes"
    if not against and least_bridge_mm(bone, plan, settings) < 0:
        allowed = "no: the saw would meet the blade"
    if allowed == "yes" and shortest_blade_mm is not None and (of["blade_mm"] or 0.0) + 1e-9 < shortest_blade_mm:
        allowed = NO_BLADE
    needed = of["adduction_needed_deg"] or 0.0
    if allowed == "yes" and needed >= free_deg + 0.05:
        allowed = f"yes, if adduction {_deg(needed)} is free"
    angles = (_deg(of[f"{one}_after_deg"]) for one in ("neck_shaft", "version", "flexion"))
    return name, *angles, _mm(of["length_gain_mm"]), _mm(of["bridge_mm"]), allowed


def _piece(plan: Plan) -> str:
    return "upper piece" if plan.wedge_from == "upper" else "shaft"


def _way(value: float | None, plus: str, minus: str) -> str:
    shown = round(value or 0.0, 1)
    return "" if shown == 0 else plus if shown > 0 else minus


def _joined(*parts: str) -> str:
    return ", ".join(part for part in parts if part)


def _between(name: str, ranges: Ranges) -> str:
    """Return a range; where a sign is a way no sign stands, and the way of each end where the two differ."""
    if name not in ranges or ranges[name][1] - ranges[name][0] < 0.05:
        return ""
    low, high = ranges[name]
    if name in WAYS:
        first, last = _way(low, *WAYS[name]), _way(high, *WAYS[name])
        if first and last and first != last:
            return f"{_number(-low)} {first} to {_number(high)} {last}"
        low, high = sorted((abs(low), abs(high)))
    return f"{_number(low)} to {_number(high)}"


def _share_between(ranges: Ranges) -> str:
    if "contact_share" not in ranges:
        return ""
    low, high = ranges["contact_share"]
    return f" ({100 * low:.0f} to {100 * high:.0f} %)"


def _number(value: float) -> str:
    return f"{round(value, 1) + 0.0:.1f}"


def _unit(value: float | None, unit: str) -> str:
    return f"{_number(value or 0.0)} {unit}"


def _deg(value: float | None) -> str:
    return _unit(value, "deg")


def _mm(value: float | None) -> str:
    return _unit(value, "mm")


def _down(value: float | None) -> str:
    """Return a length that must not be exceeded, rounded down."""
    return f"{math.floor((value or 0.0) * 10 + 1e-6) / 10:.1f}"


def _up(value: float | None) -> str:
    return f"{math.ceil((value or 0.0) * 10 - 1e-6) / 10:.1f}"
