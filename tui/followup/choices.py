"""What an operation or a decision of a follow-up may name, as choices. No screen in here."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

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

KEEP, KEEP_NONE = "used", "none"


@dataclass(frozen=True, slots=True)
class SheetUsed:
    """The sheet of an osteotomy as it stands on its screen: the day it was worked out, and for which kind of stage.

    `kind` is None where it was opened for no stage that is still to come.
    """

    sheet: OsteotomyPlan
    on: datetime.date
    kind: str | None

    def fits(self, kind: str, day: datetime.date) -> bool:
        """Return whether an operation may be taken for the one that the sheet was made for.

        A sheet cannot have been used before it was worked out, nor at another kind of operation; whoever worked it
        out anew afterwards says so by choosing it.
        """
        return kind == self.kind and day >= self.on


@dataclass(frozen=True, slots=True)
class Choosing:
    """The choices of every field; `completed` are operations of the record, by value, that are added to.

    `planned` is the osteotomy's sheet as it stands on its screen, to be kept with the operation; None without one.
    `amounts` are the lengths that the plan has for each kind of operation, mm.
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
    decider: str = ""
    """Who decided last on the screens, "" where nobody has: who a decision is of where nothing is said."""
    planned: SheetUsed | None = None
    amounts: Mapping[str, float] = field(default_factory=dict)
    sheets: tuple[Option, ...] = (Option(KEEP, "keep the sheet as it stands"), Option(KEEP_NONE, "keep none"))
    decisions: tuple[Option, ...] = (
        Option("decline", "decline a stage"),
        Option("prefer", "prefer"),
        Option("waive_gate", "waive a gate"),
    )


def choosing(record: Record, plan: Plan, protocol: Protocol, sheet: Sheet | None = None, decider: str = "") -> Choosing:
    """Return the choices for a child: what its plan has to come first; `sheet` is its osteotomy's on the screen.

    `decider` is who decided last on the screens.
    """
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
        decider=decider,
        planned=_planned(sheet, record, plan),
        amounts=_amounts(plan),
        about={
            "decline": tuple(dict.fromkeys(_declinable(plan, protocol))),
            "prefer": plain_options(PREFERENCES),
            "waive_gate": tuple(dict.fromkeys(_waivable(plan, protocol))),
        },
    )


def _planned(sheet: Sheet | None, record: Record, plan: Plan) -> SheetUsed | None:
    """Return what is kept of a sheet; None where nothing was worked out on it, or it is of another leg."""
    try:
        if sheet is None:
            return None
        ahead = (one for one in plan.stages if one.status not in ("done", "under_way"))
        kind = next((one.kind for one in ahead if one.id == sheet.stage), None)
        return SheetUsed(kept(sheet, record, "the worksheet"), sheet.on, kind)
    except Refused:
        return None


def _amounts(plan: Plan) -> dict[str, float]:
    """Return the length that the plan has for each kind of operation: of the one that comes next."""
    found: dict[str, float] = {}
    for stage in in_date_order(plan):
        if stage.amount_mm is not None and stage.status != "done":
            found.setdefault(stage.kind, stage.amount_mm)
    return found


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
