"""What was planned of operations and what was done: lengths gained, months in a device, events, waived gates, days."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pathway.days import add_months, days_between, in_months
from pathway.protocol.model import Protocol
from pathway.record import Operation
from pathway.results.child import Known
from pathway.results.predicted import Revision, StatedStage

FOLLOWED = "results_followed_months"


@dataclass(frozen=True, slots=True)
class Done:
    """An operation that was done, with the stage of the last revision before it that planned it (None for none).

    `followed`: it lies far enough back for its events to be counted; `seen_after`: the child was seen that long after
    it, whether or not there was an event: else those with one would be counted and the others lost.
    """

    operation: Operation
    planned: StatedStage | None
    lengthening: bool
    followed: bool
    seen_after: bool

    @property
    def device_months(self) -> float | None:
        """Return how long the device was on, None while it is on or where nobody entered when it came off."""
        off = self.operation.device_removed
        return None if off is None else in_months(days_between(self.operation.date, off))


@dataclass(frozen=True, slots=True)
class Waived:
    """A gate that was waived in an accepted plan, and what followed: whether its stage was done, with which events."""

    gate: str
    kind: str
    label: str
    done: bool
    events: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Due:
    """An operation that came due under an accepted plan: days from due to done, None while it is still waited for.

    `since_days` is how long ago it was due on the day of the question, below 0 for what was done before it was due.
    """

    kind: str
    days: int | None
    since_days: int


def done_operations(known: Known) -> tuple[Done, ...]:
    """Return every operation up to the day of the question, in order, with what was planned of it."""
    months = round(known.protocol.number(FOLLOWED))
    last = max((visit.date for visit in known.record.visits), default=None)
    found = []
    for one in known.record.operations:
        until = add_months(one.date, months)
        found.append(
            Done(
                operation=one,
                planned=planned_before(one, known.revisions),
                lengthening=known.roles.get(one.kind) == "lengthening",
                followed=until <= known.on,
                seen_after=last is not None and last >= until,
            )
        )
    return tuple(found)


def planned_before(one: Operation, revisions: Sequence[Revision]) -> StatedStage | None:
    """Return the stage that the last revision before an operation had for it, None where none had."""
    for revision in reversed(revisions):
        if revision.on > one.date:
            continue
        for stage in revision.stages:
            if (stage.kind, stage.side) == (one.kind, one.side):
                return stage
    return None


def waived(known: Known) -> Iterator[Waived]:
    """Yield each gate that an accepted plan waived, once for a stage, with what followed."""
    told = set()
    for revision in known.revisions:
        for stage in revision.stages:
            for gate, _ in stage.waived:
                key = gate, stage.kind, stage.side, stage.number
                if key in told:
                    continue
                told.add(key)
                one = _done(known, revision, stage)
                yield Waived(
                    gate=gate,
                    kind=stage.kind,
                    label=stage.label,
                    done=one is not None,
                    events=() if one is None else one.complications,
                )


def due(known: Known) -> Iterator[Due]:
    """Yield each operation that came due, or was done, while an accepted plan named a day for it; each once.

    A later accepted plan that moved the day before it came replaced it; one that was accepted afterwards did not.
    """
    told = set()
    for place, revision in enumerate(known.revisions, start=1):
        until = known.on if place == len(known.revisions) else known.revisions[place].on
        for stage in revision.stages:
            key = stage.kind, stage.side, stage.number
            if not stage.operation or stage.on is None or key in told:
                continue
            one = _done(known, revision, stage)
            done = None if one is None else one.date
            if stage.on > until and (done is None or done > until):
                continue
            told.add(key)
            days = None if done is None else (done - stage.on).days
            yield Due(stage.kind, days, (known.on - stage.on).days)


def _done(known: Known, revision: Revision, stage: StatedStage) -> Operation | None:
    """Return the operation that a stage became: the first planned of its kind and side is the first done since."""
    planned = [one for one in revision.stages if (one.kind, one.side) == (stage.kind, stage.side)]
    since = [
        one
        for one in known.record.operations
        if (one.kind, one.side) == (stage.kind, stage.side) and one.date >= revision.on
    ]
    place = planned.index(stage)
    return since[place] if place < len(since) else None


def events_of(complications: Sequence[str], outcome: str, protocol: Protocol) -> bool:
    """Return whether complications that were entered tell of a harm of the rules, by its id."""
    told = next((harm.complications for harm in protocol.stage_harms if harm.id == outcome), ())
    return any(one in told for one in complications)
