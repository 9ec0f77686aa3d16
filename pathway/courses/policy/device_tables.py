"""With which device each lengthening is done: of those that child, age and amount leave, the one that costs least."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pathway.courses.policy.programme import Floats, Ints
from pathway.courses.policy.risks import SOUND, Risks
from pathway.courses.problem import CourseProblem
from pathway.growth import grown_from_years
from pathway.protocol.model import Bone, Device
from pathway.protocol.roles import carrier_of
from pathway.rule_engine.devices import DeviceState


@dataclass(frozen=True, slots=True, eq=False)
class OneDevice:
    """The tables of one device: what it costs (R, X, G, S), its risks, months (X,), where it may be used (R, X).

    `rows` are the R visits that the tables are of: from the first to the last at which it may be used at all.
    """

    device: Device
    rows: slice
    usable: np.ndarray
    months: Floats
    risks: Risks
    cost: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Chosen:
    """The tables of the devices chosen: `used` (T, X, G) which of `devices`, `months` (T, X, G), cost and risks."""

    devices: tuple[Device, ...]
    used: Ints
    months: Floats
    risks: Risks
    cost: Floats


def open_devices(problem: CourseProblem, bone: Bone) -> tuple[Device, ...]:
    """Return the devices that may be chosen for a bone: the usual one first, then those that costs decide about.

    A device that stays in the bone needs a stage that takes it out.
    """
    kind = problem.of(bone).kind
    own = [state for state in problem.graph.devices if state.device.bone == bone and state.device.choice == "by_cost"]
    removed = {carrier.id for stage in problem.protocol.stages if (carrier := carrier_of(stage, problem.protocol))}
    able = [one.device for one in own if _comes_out(one, kind is not None and kind.id in removed)]
    return (problem.protocol.usual_device(bone), *able)


def _comes_out(state: DeviceState, removed: bool) -> bool:
    return removed or state.device.removal == "at_end"


def kept_to(devices: Sequence[OneDevice], names: Sequence[str]) -> tuple[OneDevice, ...]:
    """Return the devices with those not named so dear that another one is always chosen: the first stays, as base."""
    first, *others = devices
    if names and first.device.id not in names:
        first = replace(first, cost=np.full(first.cost.shape, np.inf))
    return (first, *(one for one in others if not names or one.device.id in names))


def usable(problem: CourseProblem, device: Device, ages: Floats, amounts_mm: Floats) -> np.ndarray:
    """Return at which ages and for which amounts (T, X) a device may be used by the rules and the child's findings."""
    least_years = device.least_age_years
    if device.most_growth_left_mm is not None:
        grown = grown_from_years(problem.growth.posterior, device.bone, device.most_growth_left_mm)
        least_years = max(least_years, grown)
    state = next((one for one in problem.graph.devices if one.device == device), None)
    open_ = [state is None or not state.out(float(age)) for age in ages]
    old = (ages >= least_years) & np.array(open_, bool)
    size = np.ones(len(amounts_mm), bool)
    if device.least_mm is not None:
        size &= amounts_mm >= device.least_mm
    if device.most_mm is not None:
        size &= amounts_mm <= device.most_mm
    return np.asarray(old[:, None] & size[None, :])


def rows_of(may: np.ndarray) -> slice:
    """Return from the first to the last visit at which a device may be used for some amount; none where never."""
    found = np.flatnonzero(may.any(axis=1))
    return slice(int(found[0]), int(found[-1]) + 1) if len(found) else slice(0, 0)


def cheapest(usual: OneDevice, others: Sequence[OneDevice]) -> Chosen:
    """Return the tables with, for each visit, amount and gain before, the device that costs least; `usual` for ties.

    It is chosen for sound joints: what a joint that slipped needs is judged from findings, at the visit itself.
    """
    shape = usual.cost.shape[:3]
    used, months = np.zeros(shape, int), np.broadcast_to(usual.months[None, :, None], shape).copy()
    cost, risks = (usual.cost.copy(), _copied(usual.risks)) if others else (usual.cost, usual.risks)
    for number, one in enumerate(others, start=1):
        rows = one.rows
        better = one.usable[..., None] & (one.cost[..., SOUND] < cost[rows][..., SOUND])
        used[rows][better] = number
        np.copyto(months[rows], one.months[None, :, None], where=better)
        np.copyto(cost[rows], one.cost, where=better[..., None])
        for into, own in zip(_by_gain(risks), _by_gain(one.risks), strict=True):
            np.copyto(into[rows], own, where=better.reshape(better.shape + (1,) * (own.ndim - 3)))
    return Chosen((usual.device, *(one.device for one in others)), used, months, risks, cost)


def _by_gain(risks: Risks) -> tuple[np.ndarray, ...]:
    """Return the tables of risks that go by visit, amount and gain before."""
    return risks.unplanned, risks.harm, risks.short, risks.joints


def _copied(risks: Risks) -> Risks:
    return Risks(
        risks.unplanned.copy(),
        risks.harm.copy(),
        risks.short.copy(),
        risks.short_mm,
        risks.joints.copy(),
        risks.stopping,
        risks.outside,
    )
