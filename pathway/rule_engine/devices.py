"""Which devices a child's findings leave for each bone: each judged like a gate, and whether it spans what must be."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import get_args

from pathway.protocol.model import Bone, Device, Protocol
from pathway.protocol.roles import lengthenings
from pathway.record import Operation
from pathway.rule_engine.conditions import Facts, judge
from pathway.rule_engine.spans import spans_of
from pathway.rule_engine.verdict import State, Verdict


@dataclass(frozen=True, slots=True)
class DeviceState:
    """A device judged on the day: `verdict` of its condition, None where it has none; `span` what it cannot span.

    What is not known leaves it open (`unknown`): it is asked for. `span` is a sentence, "" where nothing speaks so.
    """

    device: Device
    state: State
    verdict: Verdict | None = None
    span: str = ""

    @property
    def out(self) -> str:
        """Return why the findings rule the device out, or ""."""
        if self.span:
            return self.span
        if self.state != "fails" or self.verdict is None:
            return ""
        return self.verdict.sentence


def devices_of(facts: Facts, protocol: Protocol) -> tuple[DeviceState, ...]:
    """Return every device of the rules as judged on the day, in their order."""
    spanned = {bone: _must_span(facts, bone, protocol) for bone in get_args(Bone)}
    return tuple(_states(facts, spanned, protocol))


def _must_span(facts: Facts, bone: Bone, protocol: Protocol) -> str:
    """Return in a sentence which joint the device of a bone must span and why, or ""."""
    for kind in lengthenings(bone, protocol):
        for span in spans_of(facts, protocol, kind.id):
            if span.need == "needed":
                return f"the {span.joint} must be spanned: {span.grounds[0][1].sentence}"
    return ""


def device_of(operation: Operation | None, bone: Bone, protocol: Protocol) -> Device:
    """Return the device of an operation; the usual one of the bone where it names none."""
    named = operation.device if operation is not None else None
    return next((one for one in protocol.devices if one.id == named), None) or protocol.usual_device(bone)


def _states(facts: Facts, spanned: Mapping[Bone, str], protocol: Protocol) -> Iterator[DeviceState]:
    for device in protocol.devices:
        condition = device.tested
        verdict = None if condition is None else judge(condition, facts, protocol)
        span = "" if device.spans_knee else spanned[device.bone]
        yield DeviceState(device, "holds" if verdict is None else verdict.state, verdict, span)
