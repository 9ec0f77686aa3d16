"""All children of a clinic together: taken in one by one, told with intervals. Nothing here knows who operated."""

from __future__ import annotations

import datetime
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from statistics import fmean, median

from pathway.protocol.model import Protocol
from pathway.record import Frozen, Operation
from pathway.results import figures
from pathway.results.child import Arrest, Ending, Known, Pair, Why, arrest, endings, left, pairs
from pathway.results.figures import HUNDRED, Mean, Median, Share, Terms, terms_of
from pathway.results.lengthenings import Lengthening, lengthenings_of
from pathway.results.operations import (
    Done,
    Due,
    Waived,
    done_operations,
    due,
    events_of,
    planned_before,
    waived,
)
from pathway.results.refit import Refitted, refitted

YOUNG, OLD, ON_TIME = "results_young_until_years", "results_old_from_years", "results_on_time_days"


class Predicted(Frozen):
    """How differences in length were seen beside what was predicted, of a group of children (`of`, `group`).

    `off_mm` is the mean of seen minus predicted, `within_50` and `within_90` the share of visits in the stated bands,
    each child with one voice.
    """

    of: str
    group: str
    children: int
    visits: int
    off_mm: Mean
    within_50: Share
    within_90: Share


class NotCompared(Frozen):
    """How many pairs of a revision and a later visit were not held together, and why."""

    why: Why
    pairs: int


class Chance(Frozen):
    """The stated chance that legs end within so many mm, and what came of it.

    `stated_per_100` is the mean of what was stated to those whose end was seen, None for none of them. `growing` are
    children not yet at maturity, `not_seen` those past it without a length: `least_per_100` and `most_per_100` are what
    came if none, or all, of these ended within.
    """

    within_mm: int
    stated_per_100: float | None
    came: Share
    growing: int
    not_seen: int
    least_per_100: float | None
    most_per_100: float | None
    found: bool | None


class Lengthened(Frozen):
    """Lengthenings of one kind: achieved less planned gain (mm) and months in a device beside those planned."""

    kind: str
    label: str
    lengthenings: int
    gain_off_mm: Mean
    months_off: Mean


class HarmCame(Frozen):
    """A harm of an operation as the accepted plans stated it of 100, and how often it was recorded.

    `too_recent` operations are left out, and so are those whose child was not seen long enough after them: `left`, of
    which `left_with_event` had it.
    """

    harm: str
    label: str
    stated_per_100: float | None
    stated_low: float | None
    stated_high: float | None
    came: Share
    too_recent: int
    left: int
    left_with_event: int
    found: bool | None


class EventCount(Frozen):
    """How many operations a complication was recorded with."""

    complication: str
    operations: int


class WaivedGate(Frozen):
    """A gate that accepted plans waived: at how many stages, how many of them were done, and how many with an event."""

    gate: str
    stage: str
    waived: int
    done: int
    with_event: int


class Waits(Frozen):
    """Days from due to done: how many within so many days, the median, and how many still wait.

    A median of None with children is one above all that is known: more than half still wait.
    """

    within_days: int
    on_time: Share
    days: Median
    waiting: int


class EachPair(Frozen):
    """One revision beside one later visit; mm. `low_mm` to `high_mm` is the 90 % band with the error of reading."""

    child: str
    revision: int
    stated_on: datetime.date
    seen_on: datetime.date
    basis: str
    predicted_mm: float
    low_mm: float
    high_mm: float
    seen_mm: float
    off_mm: float


class Results(Frozen):
    """A clinic's own results up to a day.

    `arrest_effect` is what part of the stated effect of growth arrests came (1: all of it). `left_less_right_mm` is
    the error of left minus right leg, from children with a short right and with a short left leg: what films of one
    side read too long shows here, and what shifts all differences alike does not.
    """

    children: int
    accepted: int
    revisions: int
    without_later_visit: int
    left_children: int
    left_after_months: int
    least_children: int
    interval_percent: float
    found_percent: float
    predicted: tuple[Predicted, ...]
    left_less_right_mm: Mean
    long_leg_off_mm: Mean
    short_leg_off_mm: Mean
    not_compared: tuple[NotCompared, ...]
    chances: tuple[Chance, ...]
    arrest_effect: Mean
    lengthenings: tuple[Lengthened, ...]
    harms: tuple[HarmCame, ...]
    events: tuple[EventCount, ...]
    waived: tuple[WaivedGate, ...]
    waits: Waits
    each: tuple[EachPair, ...] = ()
    refitted: Refitted | None = None


@dataclass(slots=True)
class _Child:
    """What of one child is kept until all are known."""

    sex: str
    diagnosis: str
    right_affected: bool
    pairs: tuple[Pair, ...]
    arrest: Arrest | None
    endings: tuple[Ending, ...]
    done: tuple[Done, ...]
    due: tuple[Due, ...]


@dataclass(slots=True)
class Clinic:
    """Takes children in one by one, and tells their results together.

    `each`: also every pair by itself; `refit`: also the model of risk with the clinic's own lengthenings (seconds).
    """

    protocol: Protocol
    each: bool = False
    refit: bool = False
    children: int = 0
    accepted: int = 0
    revisions: int = 0
    without_later_visit: int = 0
    left: int = 0
    _known: list[_Child] = field(default_factory=list)
    _passed: Counter[Why] = field(default_factory=Counter)
    _waived: list[Waived] = field(default_factory=list)
    _each: list[EachPair] = field(default_factory=list)
    _lengthenings: list[tuple[Lengthening, ...]] = field(default_factory=list)

    def add(self, known: Known) -> None:
        """Take in a child."""
        self.children += 1
        if not known.revisions and not known.record.operations:
            return
        found, passed = pairs(known)
        if known.revisions:
            self.accepted += 1
            self.revisions += len(known.revisions)
            self.left += left(known)
            self.without_later_visit += not found and not passed
        self._passed += passed
        self._waived += waived(known)
        child = known.record.child
        self._known.append(
            _Child(
                sex=child.sex,
                diagnosis=known.protocol.diagnosis(child.diagnosis).label,
                right_affected=child.affected_side == "right",
                pairs=found,
                arrest=arrest(known),
                endings=tuple(endings(known)),
                done=done_operations(known),
                due=tuple(due(known)),
            )
        )
        if self.refit and (own := tuple(_lengthenings(known))):
            self._lengthenings.append(own)
        if self.each:
            self._each += (_told(child.id, one) for one in found)

    def results(self) -> Results:
        """Return the results of the children taken in so far."""
        terms, number = terms_of(self.protocol), self.protocol.number
        off_right, off_left = (
            [
                fmean(pair.off_mm for pair in one.pairs)
                for one in self._known
                if one.pairs and one.right_affected is right
            ]
            for right in (True, False)
        )
        long_off, short_off = (
            [
                fmean(offs)
                for one in self._known
                if (offs := [off for pair in one.pairs if (off := getattr(pair, name)) is not None])
            ]
            for name in ("long_off_mm", "short_off_mm")
        )
        arrests = [one.arrest for one in self._known if one.arrest is not None]
        return Results(
            children=self.children,
            accepted=self.accepted,
            revisions=self.revisions,
            without_later_visit=self.without_later_visit,
            left_children=self.left,
            left_after_months=round(number("results_left_after_months")),
            least_children=terms.least,
            interval_percent=number(figures.INTERVAL),
            found_percent=number(figures.CHANCE),
            predicted=tuple(_predicted(self._known, terms, number(YOUNG), number(OLD))),
            left_less_right_mm=figures.half_apart(off_right, off_left, terms),
            long_leg_off_mm=figures.mean(long_off, terms),
            short_leg_off_mm=figures.mean(short_off, terms),
            not_compared=tuple(NotCompared(why=why, pairs=count) for why, count in sorted(self._passed.items())),
            chances=_chances([end for one in self._known for end in one.endings], terms),
            arrest_effect=figures.ratio([one.stated_mm for one in arrests], [one.seen_mm for one in arrests], terms),
            lengthenings=tuple(_lengthened(self._known, terms, self.protocol)),
            harms=tuple(_harms(self._known, terms, self.protocol)),
            events=_events(self._known),
            waived=_gates(self._waived),
            waits=_waits(self._known, terms, round(number(ON_TIME))),
            each=tuple(self._each),
            refitted=refitted(self._lengthenings, self.protocol) if self.refit else None,
        )


def _lengthenings(known: Known) -> Iterator[Lengthening]:
    def planned_mm(one: Operation) -> float | None:
        stage = planned_before(one, known.revisions)
        return None if stage is None else stage.amount_mm

    return lengthenings_of(known.record, known.protocol, known.on, planned_mm)


def _told(child: str, one: Pair) -> EachPair:
    return EachPair(
        child=child,
        revision=one.revision,
        stated_on=one.stated_on,
        seen_on=one.seen_on,
        basis=one.basis,
        predicted_mm=round(one.predicted_mm, 1),
        low_mm=round(one.low_mm, 1),
        high_mm=round(one.high_mm, 1),
        seen_mm=round(one.seen_mm, 1),
        off_mm=round(one.off_mm, 1),
    )


def _predicted(children: Sequence[_Child], terms: Terms, young: float, old: float) -> Iterable[Predicted]:
    """Yield the figures of all pairs and of each group of them, groups in order of their names."""
    groups: dict[tuple[str, str], list[list[Pair]]] = defaultdict(list)
    for child in children:
        own: dict[tuple[str, str], list[Pair]] = defaultdict(list)
        for pair in child.pairs:
            age = pair.age_years
            ages = f"until {young:g}" if age < young else f"{young:g} to {old:g}" if age < old else f"from {old:g}"
            for key in (
                ("all", "all"),
                ("between", pair.basis),
                ("age at the visit", ages),
                ("sex", child.sex),
                ("diagnosis", child.diagnosis),
            ):
                own[key].append(pair)
        for key, some in own.items():
            groups[key].append(some)
    order = ("all", "between", "age at the visit", "sex", "diagnosis")
    ages_order = {f"until {young:g}": 0, f"{young:g} to {old:g}": 1}
    for of, group in sorted(groups, key=lambda key: (order.index(key[0]), ages_order.get(key[1], 2), key[1])):
        of_children = groups[of, group]
        yield predicted(of, group, of_children, terms)


def predicted(of: str, group: str, of_children: Sequence[Sequence[Pair]], terms: Terms) -> Predicted:
    """Return the figures of a group: `of_children` are the pairs of each child."""
    ones = [1.0] * len(of_children)
    return Predicted(
        of=of,
        group=group,
        children=len(of_children),
        visits=sum(map(len, of_children)),
        off_mm=figures.mean([fmean(pair.off_mm for pair in some) for some in of_children], terms),
        within_50=figures.share([fmean(pair.within_50 for pair in some) for some in of_children], ones, terms),
        within_90=figures.share([fmean(pair.within_90 for pair in some) for some in of_children], ones, terms),
    )


def _chances(ends: Sequence[Ending], terms: Terms) -> tuple[Chance, ...]:
    return tuple(chance(mm, [one for one in ends if one.within_mm == mm], terms) for mm in (10, 20))


def chance(within_mm: int, ends: Sequence[Ending], terms: Terms) -> Chance:
    """Return a stated chance beside what came of it, one end a child."""
    seen = [(one, one.seen_mm) for one in ends if one.seen_mm is not None]
    hits = [float(abs(mm) <= within_mm) for _, mm in seen]
    stated = HUNDRED * fmean(one.stated for one, _ in seen) if seen else None
    came = figures.share(hits, [1.0] * len(hits), terms)
    growing = sum(one.growing for one in ends)
    lost = len(ends) - len(seen) - growing
    bounds: tuple[float | None, float | None] = (None, None)
    if came.per_100 is not None:
        whole = len(seen) + lost
        bounds = (round(HUNDRED * sum(hits) / whole, 1), round(HUNDRED * (sum(hits) + lost) / whole, 1))
    return Chance(
        within_mm=within_mm,
        stated_per_100=None if stated is None else round(stated, 1),
        came=came,
        growing=growing,
        not_seen=lost,
        least_per_100=bounds[0],
        most_per_100=bounds[1],
        found=None if stated is None else figures.off_share(came, stated, terms),
    )


def _lengthened(children: Sequence[_Child], terms: Terms, protocol: Protocol) -> Iterable[Lengthened]:
    kinds = sorted({done.operation.kind for one in children for done in one.done if done.lengthening})
    for kind in kinds:
        gains, months, count = [], [], 0
        for child in children:
            own = [done for done in child.done if done.operation.kind == kind]
            count += len(own)
            gain = [
                done.operation.achieved_mm - done.planned.amount_mm
                for done in own
                if done.planned is not None
                and done.planned.amount_mm is not None
                and done.operation.achieved_mm is not None
            ]
            worn = [
                done.device_months - done.planned.months
                for done in own
                if done.planned is not None and done.planned.months is not None and done.device_months is not None
            ]
            gains += [fmean(gain)] if gain else []
            months += [fmean(worn)] if worn else []
        yield Lengthened(
            kind=kind,
            label=protocol.stage(kind).label,
            lengthenings=count,
            gain_off_mm=figures.mean(gains, terms),
            months_off=figures.mean(months, terms),
        )


def _harms(children: Sequence[_Child], terms: Terms, protocol: Protocol) -> Iterable[HarmCame]:
    """Yield each harm that complications tell of, at the operations that an accepted plan said it of."""
    for rule in protocol.stage_harms:
        if not rule.complications:
            continue
        hits, tries, said = [], [], []
        recent = gone = gone_with = 0
        for child in children:
            stated = [
                (done, harm)
                for done in child.done
                if done.planned is not None
                for harm in done.planned.harms
                if harm.id == rule.id
            ]
            recent += sum(not done.followed for done, _ in stated)
            lost = [done for done, _ in stated if done.followed and not done.seen_after]
            gone += len(lost)
            gone_with += sum(events_of(done.operation.complications, rule.id, protocol) for done in lost)
            told = [pair for pair in stated if pair[0].followed and pair[0].seen_after]
            said += [
                (harm.per_100, harm.low, harm.high)
                for _, harm in told
                if harm.per_100 is not None and harm.low is not None and harm.high is not None
            ]
            hits.append(float(sum(events_of(done.operation.complications, rule.id, protocol) for done, _ in told)))
            tries.append(float(len(told)))
        came = figures.share(hits, tries, terms)
        if not came.of and not recent and not gone:
            continue
        middle, low, high = (round(fmean(column), 1) for column in zip(*said, strict=True)) if said else (None,) * 3
        outside = middle is not None and (came.high < (low or 0) or came.low > (high or HUNDRED))
        yield HarmCame(
            harm=rule.id,
            label=rule.label,
            stated_per_100=middle,
            stated_low=low,
            stated_high=high,
            came=came,
            too_recent=recent,
            left=gone,
            left_with_event=gone_with,
            found=None if came.per_100 is None or middle is None else outside,
        )


def _events(children: Sequence[_Child]) -> tuple[EventCount, ...]:
    counts = Counter(name for one in children for done in one.done for name in done.operation.complications)
    return tuple(EventCount(complication=name, operations=count) for name, count in sorted(counts.items()))


def _gates(found: Sequence[Waived]) -> tuple[WaivedGate, ...]:
    groups: dict[tuple[str, str], list[Waived]] = defaultdict(list)
    for one in found:
        groups[one.gate, one.label].append(one)
    return tuple(
        WaivedGate(
            gate=gate,
            stage=label,
            waived=len(some),
            done=sum(one.done for one in some),
            with_event=sum(bool(one.events) for one in some),
        )
        for (gate, label), some in sorted(groups.items())
    )


def _waits(children: Sequence[_Child], terms: Terms, within: int) -> Waits:
    hits, tries, days = [], [], []
    waiting = 0
    for child in children:
        # What came due less long ago may still be done on time, and what was done of it already is no fair sample.
        known = [one for one in child.due if one.since_days > within]
        hits.append(float(sum(one.days is not None and one.days <= within for one in known)))
        tries.append(float(len(known)))
        waiting += sum(one.days is None for one in child.due)
        if child.due:
            days.append(median(float("inf") if one.days is None else float(one.days) for one in child.due))
    return Waits(
        within_days=within,
        on_time=figures.share(hits, tries, terms),
        days=figures.median(days, terms),
        waiting=waiting,
    )
