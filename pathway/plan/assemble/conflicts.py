"""Rules that contradict each other in words, with what each alone would have to give way."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from pathway.days import add_months, age_words, span_words, whole_months
from pathway.network import Conflict, Link, Relaxation
from pathway.plan import model as pm
from pathway.protocol.model import Protocol
from pathway.timing.delay import stage_of
from pathway.timing.rule_links import DURATION, ORIGIN, TODAY
from pathway.timing.schedule import BLOCKED, CHOSEN


def conflict(found: Conflict, protocol: Protocol, born: datetime.date) -> pm.PlanConflict:
    """Return a conflict of the temporal network in words.

    What has happened and the day of the plan cannot give way, so they have no remedy.
    """
    words = {rule.id: rule.because for rule in protocol.rules()}
    parts = [words.get(rule, rule) for rule in found.rules]
    text = f"These cannot all be met (short by {found.short_by_days} days): " + " / ".join(parts)
    remedies = tuple(remedy for item in found.relaxations for remedy in _remedy(item, protocol, born))
    return pm.PlanConflict(rules=found.rules, explanation=text, remedies=remedies)


def stage_words(id: str, protocol: Protocol) -> str:
    """Return a stage id as a person says it: its label in small letters, with its number where it has one."""
    known = {stage.id: stage.label.lower() for stage in protocol.stages}
    kind, _, number = id.rpartition("_")
    return known.get(id) or (f"{known[kind]} {number}" if kind in known else id.replace("_", " "))


def _remedy(item: Relaxation, protocol: Protocol, born: datetime.date) -> Iterator[str]:
    words = tuple(_bound(bound, item.days, protocol, born) for bound in item.bounds)
    if all(words):
        text = " and ".join(dict.fromkeys(words))
        yield f"{text[0].upper()}{text[1:]}."


def _bound(bound: Link, days: int, protocol: Protocol, born: datetime.date) -> str:
    """Return how one bound would have to give way by `days`, or "" for what cannot give way."""
    earlier, later = (stage_words(stage_of(event), protocol) for event in (bound.earlier, bound.later))
    span = span_words(days, up=True)
    if bound.rule.startswith(DURATION):
        return f"{later} would have to be {span} shorter"
    if bound.rule == BLOCKED:
        return f"the blocked dates would have to leave a date {span} earlier for {later}"
    rules = {rule.id for rule in protocol.rules()} | {CHOSEN}
    if bound.rule not in rules:
        return ""
    if bound.at_least_days is not None:
        if bound.earlier == ORIGIN:
            return f"{later} would have to start {span} earlier, at {_age(bound.at_least_days - days, born)}"
        if bound.earlier == TODAY:
            return f"{later} would have to come {span} sooner after the date of the plan"
        return f"the wait between {earlier} and {later} would have to be {span} shorter"
    most = bound.at_most_days or 0
    if bound.earlier == ORIGIN:
        return f"{later} would have to be allowed for {span} longer, up to {_age(most + days, born, up=True)}"
    return f"{later} would have to be allowed up to {span} later after {earlier}"


def _age(day: int, born: datetime.date, *, up: bool = False) -> str:
    """Return the age on a day after birth in whole months, rounded to the side on which it suffices."""
    date = born + datetime.timedelta(days=day)
    months = whole_months(born, date)
    return age_words((months + (up and add_months(born, months) < date)) / 12)
