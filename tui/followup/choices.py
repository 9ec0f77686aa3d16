"""What an operation or a decision of a follow-up may name, as choices. No screen in here."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from pathway.casefile.read import PHYSES
from pathway.plan.model import Plan
from pathway.preferences import PREFERENCES
from pathway.problems import Refused
from pathway.protocol.model import Protocol, Stage
from pathway.protocol.roles import may_be_declined, predecessor_of
from pathway.record import Operation, OsteotomyPlan, Record
from pathway.views.words.paragraphs import in_date_order
from pathway.worksheets.osteotomy.kept import kept
from pathway.worksheets.sheet import Sheet
from tui.followup.options import Option, plain_options

KEEP = "used"


@dataclass(frozen=True, slots=True)
class Choosing:
    """The choices of every field; `completed` are operations of the record, by value, that are added to.

    `planned` is the osteotomy's sheet as it stands on its screen, to be kept with the operation; None without one.
    """

    methods: tuple[Option, ...]
    operations: tuple[Option, ...]
    completed: Mapping[str, Operation]
    complications: tuple[Option, ...]
    about: Mapping[str, tuple[Option, ...]]
    skeletal_methods: tuple[Option, ...] = ()
    devices: tuple[Option, ...] = ()
    physes: tuple[Option, ...] = plain_options(PHYSES)
    sides: tuple[Option, ...] = plain_options(("left", "right"))
    parties: tuple[Option, ...] = plain_options(("family", "team"))
    planned: OsteotomyPlan | None = None
    sheets: tuple[Option, ...] = (Option(KEEP, "keep the sheet as it stands"), Option("none", "keep none"))
    decisions: tuple[Option, ...] = (
        Option("decline", "decline a stage"),
        Option("prefer", "prefer"),
        Option("waive_gate", "waive a gate"),
    )


def choosing(record: Record, plan: Plan, protocol: Protocol, sheet: Sheet | None = None) -> Choosing:
    """Return the choices for a child: what its plan has to come first; `sheet` is its osteotomy's on the screen."""
    completed = {f"{one.kind} {one.date} {one.side}": one for one in reversed(record.operations)}
    named = {value: f"{protocol.stage(one.kind).label} of {one.date}" for value, one in completed.items()}
    alike = Counter(named.values())
    earlier = (
        Option(value, f"{words}, {completed[value].side}" if alike[words] > 1 else words)
        for value, words in named.items()
    )
    kinds = {stage.id: stage for stage in _kinds(plan, protocol)}
    return Choosing(
        methods=tuple(Option(method.id, method.label) for method in protocol.methods),
        operations=(*(Option(kind.id, kind.label) for kind in kinds.values()), *earlier),
        completed=completed,
        complications=plain_options(protocol.complications),
        skeletal_methods=tuple(Option(method.id, method.label) for method in protocol.skeletal_methods),
        devices=tuple(Option(device.id, device.label) for device in protocol.devices),
        planned=_planned(sheet, record),
        about={
            "decline": tuple(dict.fromkeys(_declinable(plan, protocol))),
            "prefer": plain_options(PREFERENCES),
            "waive_gate": tuple(dict.fromkeys(_waivable(plan, protocol))),
        },
    )


def _planned(sheet: Sheet | None, record: Record) -> OsteotomyPlan | None:
    """Return what is kept of a sheet; None where nothing was worked out on it, or it is of another leg."""
    try:
        return None if sheet is None else kept(sheet, record, "the worksheet")
    except Refused:
        return None


def _kinds(plan: Plan, protocol: Protocol) -> Iterator[Stage]:
    for stage in in_date_order(plan):
        if stage.status not in ("done", "under_way"):
            kind = protocol.stage(stage.kind)
            if kind.operation and predecessor_of(kind, protocol) is None:
                yield kind
    yield from (kind for kind in protocol.stages if kind.operation and predecessor_of(kind, protocol) is None)


def _declinable(plan: Plan, protocol: Protocol) -> Iterator[Option]:
    for stage in in_date_order(plan):
        kind = protocol.stage(stage.kind)
        if stage.operation and stage.status not in ("done", "under_way") and may_be_declined(kind, protocol):
            if stage.label != kind.label:
                yield Option(stage.id, stage.label)
            yield Option(kind.id, kind.label if stage.label == kind.label else f"{kind.label} (every one)")


def _waivable(plan: Plan, protocol: Protocol) -> Iterator[Option]:
    waivable = {gate.id for gate in protocol.gates if gate.waivable}
    for stage in in_date_order(plan):
        for gate in stage.gates:
            if gate.state in ("fails", "unknown") and gate.id in waivable:
                yield Option(gate.id, f"{protocol.stage(stage.kind).label}: {gate.requires}")
