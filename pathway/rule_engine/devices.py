"""Which devices a child's findings leave for each bone: each judged like a gate, and whether it spans what must be.

What a finding rules out today need not be so for a lengthening to come: a canal widens as the child grows, and a stage
of the plan may mend what fails. Such findings count for so many months only; later the device is open and asked for.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from pathway.protocol.model import Bone, Device, Protocol
from pathway.protocol.roles import lengthenings
from pathway.record import Operation
from pathway.rule_engine.conditions import Facts, Kept, judge
from pathway.rule_engine.findings import Findings, Known, Unknown
from pathway.rule_engine.spans import spans_of
from pathway.rule_engine.verdict import State, Verdict


@dataclass(frozen=True, slots=True)
class Judged:
    """How the condition of a device reads: `verdict` is None where it has none.

    `span` says which joint must be spanned that it cannot span, "" where there is none.
    """

    state: State
    verdict: Verdict | None = None
    span: str = ""

    @property
    def against(self) -> str:
        """Return what rules the device out, or ""."""
        if self.span:
            return self.span
        return self.verdict.sentence if self.state == "fails" and self.verdict is not None else ""


@dataclass(frozen=True, slots=True)
class DeviceState:
    """A device judged for the next months, and for later, when what growth or a planned stage changes is asked anew.

    `later_from_years` is the age from which `later` counts. What is not known leaves it open (`unknown`). `span` says
    what it cannot span and must, "" where nothing must be.
    """

    device: Device
    now: Judged
    later: Judged
    later_from_years: float

    def at(self, age_years: float) -> Judged:
        """Return how its condition reads for a lengthening at an age."""
        return self.later if age_years >= self.later_from_years else self.now

    def out(self, age_years: float) -> str:
        """Return why findings rule the device out at an age, or ""."""
        return self.at(age_years).against


def devices_of(facts: Facts, protocol: Protocol, mended: frozenset[str] = frozenset()) -> tuple[DeviceState, ...]:
    """Return every device of the rules as judged on the day; `mended` are findings that planned stages correct."""
    return tuple(_states(facts, protocol, mended))


def device_of(operation: Operation | None, bone: Bone, protocol: Protocol) -> Device:
    """Return the device of an operation; the usual one of the bone where it names none."""
    named = operation.device if operation is not None else None
    return next((one for one in protocol.devices if one.id == named), None) or protocol.usual_device(bone)


def _states(facts: Facts, protocol: Protocol, mended: frozenset[str]) -> Iterator[DeviceState]:
    from_years = facts.age_years + protocol.number("device_judged_again_months") / 12
    spans = {bone: _must_span(facts, bone, protocol) for bone in {device.bone for device in protocol.devices}}
    laters: dict[frozenset[str], Facts] = {}
    for device in protocol.devices:
        changing = mended | frozenset(device.outgrown)
        now = then = _judged(device, facts, protocol, spans[device.bone])
        if now.against:
            # What holds today holds in a bone that grows; what fails today may be otherwise by then.
            if changing not in laters:
                laters[changing] = replace(facts, findings=_without(facts.findings, changing), kept=Kept())
            later = laters[changing]
            then = _judged(device, later, protocol, _must_span(later, device.bone, protocol))
        yield DeviceState(device, now, then, from_years)


def _judged(device: Device, facts: Facts, protocol: Protocol, must_span: str) -> Judged:
    span = "" if device.spans_knee else must_span
    if device.tested is None:
        return Judged("holds", span=span)
    verdict = judge(device.tested, facts, protocol)
    return Judged(verdict.state, verdict, span)


def _must_span(facts: Facts, bone: Bone, protocol: Protocol) -> str:
    """Return in a sentence which joint the device of a bone must span and why, or ""."""
    for kind in lengthenings(bone, protocol):
        for span in spans_of(facts, protocol, kind.id):
            if span.need == "needed":
                return f"the {span.joint} must be spanned: {span.grounds[0][1].sentence}"
    return ""


def _without(findings: Findings, changing: frozenset[str]) -> Findings:
    """Return the findings with those that will have changed as if they were out of date."""

    def then(name: str, found: Known | Unknown) -> Known | Unknown:
        return Unknown("out_of_date", found) if name in changing and isinstance(found, Known) else found

    return {key: then(key[0], found) for key, found in findings.items()}
