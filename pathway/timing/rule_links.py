"""What the rules say of one child's stages as links of the temporal network: months become days here.

*At least n months* becomes the most days that n calendar months can last and *at most n months* the fewest,
so that rounding never shortens a safety interval; where the anchor date is known (birth, an operation done)
the calendar itself is used.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from pathway.days import MONTH_DAYS, add_months, age_years, day_at_age, days_between, fewest_days, most_days
from pathway.network import Link
from pathway.protocol.model import AgeWindow, Interval, Protocol
from pathway.protocol.question import Question
from pathway.rule_engine.devices import device_of
from pathway.rule_engine.graph import ChildGraph, Edge, StageItem

ORIGIN = "birth"
TODAY = "today"
MATURITY = "skeletal maturity"
LEAD = "planning_lead_days"
DURATION = "duration of"
SAME_SITTING = "same sitting"
AFTER_FRAME = "arrest_after_device_months"
SLIP_DAYS = 14
"""How far a date may slip past the age chosen for it, off weekends and rounded months, before it counts as late."""


@dataclass(frozen=True, slots=True)
class Placed:
    """What a course fixes about a stage: the age it aims at, and the amount of a lengthening.

    `same_day_as` is the stage in whose sitting it is done, `device` that of a lengthening (None: the usual one),
    `grown_from_years` the age from which its bone hardly grows, where it starts after that.
    """

    age_years: float | None = None
    amount_mm: float | None = None
    same_day_as: str | None = None
    device: str | None = None
    grown_from_years: float | None = None


def birthday(months: int) -> str:
    """Return the name of the event at which the child is so many months old."""
    return f"{months} months old"


def examination(stage: str) -> str:
    """Return the id of the examination before a stage."""
    return f"examination_before_{stage}"


def device_days(protocol: Protocol, bone: str, amount_mm: float, device: str | None = None) -> int:
    """Return the expected days from operation to solid bone for an amount, when a frame comes off (published index).

    Of a device that the rules know by months per cm its own; `device` None is the usual one of the bone.
    """
    own = None if device is None else protocol.device(device).months_per_cm
    per_cm = protocol.number(f"{bone}_days_per_cm") if own is None else own * MONTH_DAYS
    return round(per_cm * amount_mm / 10)


class RuleLinks:
    """Builds the links that the rules make between the events of a set of placed stages.

    `course` is what was chosen, where that is known: with which device, and from when its bone hardly grows. With
    `any_course` the rules that bind only while a bone grows are left to the caller. Without `mature_age_years` a window
    that may end some time after growth ends at its age.
    """

    def __init__(
        self,
        graph: ChildGraph,
        question: Question,
        course: Mapping[str, Placed] | None = None,
        *,
        any_course: bool = False,
        mature_age_years: float | None = None,
    ) -> None:
        self.graph, self.record, self.protocol, self.on = graph, question.record, question.protocol, question.on
        self.course, self.any_course, self.mature_age_years = course or {}, any_course, mature_age_years
        self.born = question.record.child.date_of_birth
        self.today = (question.on - self.born).days

    def day(self, days: int) -> datetime.date:
        """Return the day so many days after birth."""
        return self.born + datetime.timedelta(days=days)

    def all(self, placed: Mapping[str, StageItem], amounts: Mapping[str, float]) -> list[Link]:
        """Return the links of today, of each stage and its examination, of ages and of intervals."""
        links = [Link(ORIGIN, TODAY, self.today, self.today, "the day of the plan")]
        for item in placed.values():
            links.extend(self._own(item, amounts))
            links.extend(self._ages(item))
            links.extend(self._examination(item))
        links.extend(self._intervals(placed))
        return links

    def known_days(self, placed: Iterable[StageItem], mature_age_years: float) -> Iterator[Link]:
        """Return the events that only the calendar fixes: birthdays that age rules name, and the end of growth."""
        mature = days_between(self.born, day_at_age(self.born, mature_age_years))
        yield Link(ORIGIN, MATURITY, mature, mature, "the end of growth")
        months = {
            bound
            for item in placed
            for hard in (True, False)
            for rule in self.age_windows(item, hard=hard)
            for bound in (rule.at_least_months, rule.at_most_months)
            if bound is not None
        }
        for count in sorted(months):
            day = days_between(self.born, add_months(self.born, count))
            yield Link(ORIGIN, birthday(count), day, day, f"{count} months old")

    def _examination(self, item: StageItem) -> Iterator[Link]:
        """Return the links of the day on which the gates of a stage still to come are looked at again."""
        if item.done_on is None and item.gates:
            seen, start = f"{examination(item.id)}.start", f"{item.id}.start"
            first = max((gate.gate for gate in item.gates), key=lambda gate: gate.look_again_months)
            yield Link(TODAY, seen, 0, None, "the day of the plan")
            yield Link(seen, start, 0, fewest_days(first.look_again_months), first.id)

    def _own(self, item: StageItem, amounts: Mapping[str, float]) -> Iterator[Link]:
        start, end = f"{item.id}.start", f"{item.id}.end"
        if item.done_on is not None:
            day = (item.done_on - self.born).days
            yield Link(ORIGIN, start, day, day, f"{item.id} was done on {item.done_on}")
        else:
            lead = int(self.protocol.number(LEAD)) if item.stage.operation else 0
            yield Link(TODAY, start, lead, None, LEAD)
        if item.done_on is not None and item.ended_on is not None:
            days = (item.ended_on - item.done_on).days
            yield Link(start, end, days, days, f"{item.id} ended on {item.ended_on}")
            return
        yield Link(start, end, self._duration(item, amounts), None, f"{DURATION} {item.id}")
        if item.done_on is not None:
            yield Link(TODAY, end, 0, None, f"{item.id} is still under way")

    def _duration(self, item: StageItem, amounts: Mapping[str, float]) -> int:
        bone = item.stage.bone
        if bone is None:
            return most_days(item.stage.duration_months or 0)
        amount = amounts.get(item.id)
        if amount is None and item.operation is not None:
            amount = item.operation.achieved_mm
        chosen = self.course.get(item.id)
        device = chosen.device if chosen is not None else None
        if item.operation is not None:
            device = device_of(item.operation, bone, self.protocol).id
        return device_days(self.protocol, bone, amount or self.protocol.number("least_lengthening_mm"), device)

    def _ages(self, item: StageItem) -> Iterator[Link]:
        if item.done_on is None:
            for rule in self.age_windows(item, hard=True):
                yield self.from_birth(item, rule.at_least_months, self._last_months(rule), rule.id)

    def _last_months(self, rule: AgeWindow) -> int | None:
        """Return the age in months at which a window ends, later where it ends some time after growth."""
        after, last = rule.or_after_growth_months, rule.at_most_months
        if after is None or last is None or self.mature_age_years is None:
            return last
        return max(last, int(12 * self.mature_age_years) + after)

    def age_windows(self, item: StageItem, *, hard: bool) -> Iterator[AgeWindow]:
        """Return the age rules of a stage for this child."""
        return age_windows(item, self.record.child.sex, self.protocol, hard=hard)

    def from_birth(self, item: StageItem, least: int | None, most: int | None, rule: str) -> Link:
        """Return the link that puts a stage between two ages, in months by the calendar."""
        low = None if least is None else days_between(self.born, add_months(self.born, least))
        high = None if most is None else days_between(self.born, add_months(self.born, most))
        return Link(ORIGIN, f"{item.id}.start", low, high, rule)

    def preferred_from(self, item: StageItem, chosen: bool) -> Iterator[Link]:
        """Return the wish to wait for the preferred age, for stages whose age the course leaves open."""
        if not chosen and item.done_on is None:
            for rule in self.age_windows(item, hard=False):
                if rule.at_least_months is not None:
                    yield self.from_birth(item, rule.at_least_months, None, rule.id)

    def _intervals(self, placed: Mapping[str, StageItem]) -> Iterator[Link]:
        for edge in self.graph.edges:
            if edge.either_order or edge.earlier not in placed or edge.later not in placed:
                continue
            if (floor := self._while_growing(edge, placed[edge.earlier])) is not None:
                yield floor
                continue
            if edge.rule.while_growth_left_mm is not None and self.any_course:
                continue
            yield self._interval(
                placed[edge.earlier],
                edge.earlier_point,
                placed[edge.later],
                edge.later_point,
                edge.rule.id,
                edge.rule.at_least_months,
                edge.rule.at_most_months,
            )

    def _while_growing(self, edge: Edge[Interval], earlier: StageItem) -> Link | None:
        """Return what is left of a rule about later growth where the course lengthens a bone that hardly grows.

        It then starts no sooner than that age, or than the rule itself would have it; None where the rule binds whole.
        """
        chosen = self.course.get(edge.later)
        if edge.rule.while_growth_left_mm is None or chosen is None or chosen.grown_from_years is None:
            return None
        grown = days_between(self.born, day_at_age(self.born, chosen.grown_from_years))
        return self.until_grown(edge, earlier.done_on, grown)

    def until_grown(self, edge: Edge[Interval], earlier: datetime.date | None, grown: int) -> Link:
        """Return that a stage starts on the day of life on which its bone is grown, or when a rule lets it before."""
        months = edge.rule.at_least_months
        by_rule = None if earlier is None or months is None else days_between(self.born, add_months(earlier, months))
        low = grown if by_rule is None else min(grown, by_rule)
        return Link(ORIGIN, f"{edge.later}.{edge.later_point}", low, None, edge.rule.id)

    def _interval(
        self,
        earlier: StageItem,
        point: str,
        later: StageItem,
        later_point: str,
        rule: str,
        least: int | None,
        most: int | None,
    ) -> Link:
        anchor = earlier.done_on if point == "start" else earlier.ended_on
        if anchor is not None:
            low = None if least is None else days_between(anchor, add_months(anchor, least))
            high = None if most is None else days_between(anchor, add_months(anchor, most))
        else:
            low = None if least is None else most_days(least)
            high = None if most is None else fewest_days(most)
        return Link(f"{earlier.id}.{point}", f"{later.id}.{later_point}", low, high, rule)

    def in_order(self, placed: Mapping[str, StageItem], course: Mapping[str, Placed]) -> Iterator[Link]:
        """Return the links of either-order rules, in the order of the ages that the course chose."""
        for edge in self.graph.edges:
            if not edge.either_order or edge.earlier not in placed or edge.later not in placed:
                continue
            one, two = placed[edge.earlier], placed[edge.later]
            if self._age(two, course) < self._age(one, course):
                one, two = two, one
            yield self._interval(one, "end", two, "start", edge.rule.id, edge.rule.at_least_months, None)

    def same_sitting(self, course: Mapping[str, Placed]) -> Iterator[Link]:
        """Return the links that put a stage into the sitting of another one."""
        for stage, item in course.items():
            if item.same_day_as is not None:
                yield Link(f"{item.same_day_as}.start", f"{stage}.start", 0, 0, f"{SAME_SITTING} of {stage}")

    def clear_of_frames(self, placed: Mapping[str, StageItem], course: Mapping[str, Placed]) -> Iterator[Link]:
        """Return the links that keep an operation on the good leg out of a device's time, unless it shares a sitting.

        It comes before the device goes on, or some months after it is off, in the order of the ages.
        """
        months = most_days(int(self.protocol.number(AFTER_FRAME)))
        frames = [item for item in placed.values() if item.stage.role == "lengthening"]
        for stage, item in course.items():
            if not (placed[stage].stage.operation and placed[stage].stage.lane == "other_leg"):
                continue
            for frame in frames if item.same_day_as is None else ():
                if frame.done_on is None and self._age(placed[stage], course) <= self._age(frame, course):
                    yield Link(f"{stage}.start", f"{frame.id}.start", 0, None, AFTER_FRAME)
                else:
                    yield Link(f"{frame.id}.end", f"{stage}.start", months, None, AFTER_FRAME)

    def _age(self, item: StageItem, course: Mapping[str, Placed]) -> float:
        if item.done_on is not None:
            return age_years(self.born, item.done_on)
        age = course[item.id].age_years
        return float("inf") if age is None else age


def age_windows(item: StageItem, sex: str, protocol: Protocol, *, hard: bool) -> Iterator[AgeWindow]:
    """Return the age rules, hard or preferred, that apply to one numbered stage of a child."""
    for rule in protocol.age_windows:
        if rule.hard == hard and not rule.latest_useful and _applies(rule, item, sex):
            yield rule


def latest_useful(item: StageItem, sex: str, protocol: Protocol) -> AgeWindow | None:
    """Return the rule that tells the clinical latest age of one numbered stage, or None where there is none."""
    return next((rule for rule in protocol.age_windows if rule.latest_useful and _applies(rule, item, sex)), None)


def _applies(rule: AgeWindow, item: StageItem, sex: str) -> bool:
    return rule.stage == item.kind and rule.number in (None, item.number) and rule.sex in (None, sex)
