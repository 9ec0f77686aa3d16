"""Which devices a child's findings leave for each bone: each judged like a gate, and whether it spans what must be."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pathway.protocol.model import Bone, Device, Protocol
from pathway.record import Operation, Record
from pathway.rule_engine.conditions import Facts, judge
from pathway.rule_engine.verdict import State, Verdict

KNEE_SLIPPED = ("knee_subluxation", "knee_dislocation")
"""Complications of an earlier lengthening after which the knee is spanned in the next one."""


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


def devices_of(facts: Facts, record: Record, protocol: Protocol) -> tuple[DeviceState, ...]:
    """Return every device of the rules as judged on the day, in their order."""
    spanned = knee_spanned(record)
    return tuple(_states(facts, spanned, protocol))


def knee_spanned(record: Record) -> str:
    """Return why the knee must be spanned in the next lengthening for what happened in an earlier one, or ""."""
    slipped = [operation for operation in record.operations if set(KNEE_SLIPPED) & set(operation.complications)]
    if not slipped:
        return ""
    return f"the knee slipped in the lengthening of {slipped[-1].date} and must be spanned"


def device_of(operation: Operation | None, bone: Bone, protocol: Protocol) -> Device:
    """Return the device of an operation; the usual one of the bone where it names none."""
    named = operation.device if operation is not None else None
    return next((one for one in protocol.devices if one.id == named), None) or protocol.usual_device(bone)


def _states(facts: Facts, spanned: str, protocol: Protocol) -> Iterator[DeviceState]:
    for device in protocol.devices:
        condition = device.tested
        verdict = None if condition is None else judge(condition, facts, protocol)
        span = spanned if spanned and not device.spans_knee else ""
        yield DeviceState(device, "holds" if verdict is None else verdict.state, verdict, span)
