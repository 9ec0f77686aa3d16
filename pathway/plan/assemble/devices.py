"""With which device a lengthening of the plan is done: why, what must still be asked, and what else was possible."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pathway.plan import model as pm
from pathway.protocol.model import Device, Protocol
from pathway.rule_engine.devices import DeviceState, Judged, device_of
from pathway.rule_engine.graph import ChildGraph, StageItem


def plan_device(
    item: StageItem,
    graph: ChildGraph,
    chosen: str | None,
    age_years: float | None,
    amount_mm: float | None,
    protocol: Protocol,
) -> pm.PlanDevice | None:
    """Return the device of a lengthening, None for other stages and for one without a date.

    Of what is done or under way it is that of the operation, and nothing is judged any more.
    """
    bone = item.stage.bone
    if bone is None or age_years is None:
        return None
    if item.begun:
        device = device_of(item.operation, bone, protocol)
        named = item.operation is not None and item.operation.device is not None
        return _told(device, "as operated" if named else "no other device is recorded", None, ())
    device = protocol.usual_device(bone) if chosen is None else protocol.device(chosen)
    states = [state for state in graph.devices if state.device.bone == bone]
    own = next((state for state in states if state.device == device), None)
    others = tuple(_others(device, states, age_years, amount_mm))
    judged = None if own is None else own.at(age_years)
    return _told(device, _why(device, judged, others, protocol), judged, others)


def _told(device: Device, why: str, state: Judged | None, others: tuple[pm.OtherDevice, ...]) -> pm.PlanDevice:
    verdict = state.verdict if state is not None else None
    checks = list(device.checks)
    if state is not None and device.not_entered:
        checks.append(f"{' and '.join(device.not_entered)} of the nail used here: the clinic enters them in its rules")
    return pm.PlanDevice(
        id=device.id,
        label=device.label,
        family_words=device.family_words,
        why=why,
        stays=device.removal == "own_stage",
        state=state.state if state is not None else "holds",
        verdict=verdict,
        asks=verdict.asks if verdict is not None and verdict.state == "unknown" else (),
        checks=tuple(checks) if state is not None else (),
        removal=device.removal_words,
        walking=device.walking_words,
        complications=device.complications,
        others=others,
        sources=device.sources,
        provenance=device.provenance,
        local=device.local,
    )


def _why(device: Device, state: Judged | None, others: Sequence[pm.OtherDevice], protocol: Protocol) -> str:
    """Return in one sentence why a device was chosen."""
    if device.choice != "usual":
        usual = protocol.usual_device(device.bone)
        text = f"By the weights of the rules it costs less than the usual {usual.label} at this age and amount"
        return f"{text}, if what is not known yet allows it." if state and state.state == "unknown" else f"{text}."
    rivals = [one for one in others if protocol.device(one.id).choice == "by_cost"]
    out = [f"no {one.label}: {one.why}" for one in rivals if not one.possible]
    if out:
        return f"The usual device; {'; '.join(out)}."
    return "The usual device." if not rivals else "The usual device: it costs least by the weights of the rules."


def _others(
    chosen: Device, states: Sequence[DeviceState], age_years: float, amount_mm: float | None
) -> Iterator[pm.OtherDevice]:
    for state in states:
        device = state.device
        if device == chosen:
            continue
        against = against_device(state, age_years, amount_mm)
        if device.choice == "ask_only":
            yield pm.OtherDevice(id=device.id, label=device.label, possible=False, why=f"ask only: {device.because}")
        elif against:
            yield pm.OtherDevice(id=device.id, label=device.label, possible=False, why=against)
        elif device.choice == "offered":
            why = f"the clinic may choose it: {device.because}"
            yield pm.OtherDevice(id=device.id, label=device.label, possible=True, why=why)
        else:
            costs = "it costs more by the weights of the rules"
            yield pm.OtherDevice(id=device.id, label=device.label, possible=True, why=costs)


def against_device(state: DeviceState, age_years: float, amount_mm: float | None) -> str:
    """Return what speaks against a device at an age and for an amount, or ""."""
    device = state.device
    if out := state.out(age_years):
        return out
    if age_years < device.least_age_years:
        youngest = device.youngest_read_years
        read = "" if youngest is None else f" (the youngest published was {youngest:g})"
        return f"it is used from {device.least_age_years:g} years{read}"
    if amount_mm is None:
        return ""
    if device.most_mm is not None and amount_mm > device.most_mm:
        return f"it gains {device.most_mm:g} mm at most"
    if device.least_mm is not None and amount_mm < device.least_mm:
        return f"it is used from {device.least_mm:g} mm"
    return ""


def stage_words(item: StageItem, device: pm.PlanDevice | None, protocol: Protocol) -> tuple[str, str]:
    """Return what is done in a stage and its plain words, as its device has them where it speaks for itself."""
    own = None if device is None else protocol.device(device.id)
    what = own.stage_what if own is not None else ""
    plain = own.stage_family_words if own is not None else ""
    return what or item.stage.what, plain or item.stage.family_words
