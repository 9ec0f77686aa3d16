"""Time: whatever stages the rules ask for together have room between birth and the last age allowed.

Months become days as in the planner: at least n months is the most days that n months can last, at most n
months the fewest. Every lengthening takes the least amount worth one. Adding a stage only adds links, so the
largest sets of stages that can be asked for together stand for all smaller ones: stages of which each two can
be indicated in one child (the indications are solved over the cells of their findings), each kind with all
its numbers. Where such a set has no room, the stages of the contradiction are asked for together before it
counts; else they are parted and the smaller sets are looked at. The child is new-born: an older one has
fewer years, and the planner then drops what no longer fits.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import combinations, pairwise, product

import networkx as nx

from pathway.days import fewest_days, most_days
from pathway.network import Conflict, Link, windows
from pathway.protocol.model import AgeWindow, Condition, Interval, Protocol, Stage
from pathway.protocol.prove.complaint import Complaint
from pathway.protocol.prove.space import Space
from pathway.protocol.roles import numbered_with

BIRTH = "birth"
SEXES = ("girl", "boy")


def fit_faults(protocol: Protocol, space: Space) -> Iterator[Complaint]:
    """Yield stages that can be asked for together and have no room, and preferred ages that no hard one leaves."""
    told: set[tuple[str, ...]] = set()
    for stages in _together(protocol, space):
        for sex in SEXES:
            for conflict, involved in _conflicts(stages, sex, protocol, space):
                if conflict.rules in told:
                    continue
                told.add(conflict.rules)
                rules = [rule for rule in conflict.rules if rule != BIRTH]
                found = f"no time for {', '.join(sorted(involved))} of a {sex}: {', '.join(rules)} miss each other "
                found += f"by {conflict.short_by_days} days"
                yield Complaint(rules[0], found, "room for stages that are asked for together", "correct one of them")
    yield from _preferred_ages(protocol)


def _together(protocol: Protocol, space: Space) -> Iterator[frozenset[str]]:
    """Yield the largest sets of stages of which each two can be indicated in one child."""
    reasons = _reasons(protocol)
    graph: nx.Graph[str] = nx.Graph()
    timed = {stage for rule in protocol.intervals for stage in (rule.earlier_stage, rule.later_stage)}
    timed |= {rule.stage for rule in protocol.age_windows if rule.hard}
    graph.add_nodes_from(stage for stage in reasons if stage in timed)
    lengthened = {stage.id: stage.bone for stage in protocol.stages if stage.role == "lengthening"}
    for one, two in combinations(graph.nodes, 2):
        # Two ways of lengthening one bone stand for each other: a course uses one of them.
        if one in lengthened and lengthened[one] == lengthened.get(two):
            continue
        if space.example((reasons[one], True), (reasons[two], True)) is not None:
            graph.add_edge(one, two)
    yield from sorted((frozenset(group) for group in nx.find_cliques(graph)), key=sorted)


def _reasons(protocol: Protocol) -> dict[str, Condition]:
    reasons: dict[str, list[Condition]] = {}
    for rule in protocol.indications:
        if numbered_with(protocol.stage(rule.stage), protocol) is None:
            reasons.setdefault(rule.stage, []).append(rule.when)
    return {stage: Condition(any=tuple(conditions)) for stage, conditions in reasons.items()}


def _conflicts(
    stages: frozenset[str], sex: str, protocol: Protocol, space: Space
) -> Iterator[tuple[Conflict, frozenset[str]]]:
    conflict = _conflict(stages, sex, protocol)
    if conflict is None:
        return
    leaders = {stage.id: lead.id for stage in protocol.stages if (lead := numbered_with(stage, protocol)) is not None}
    kinds = {event.rpartition(".")[0].partition(" ")[0] for event in conflict.events if event != BIRTH}
    involved = frozenset(leaders.get(kind, kind) for kind in kinds)
    reasons = _reasons(protocol)
    if space.example(*((reasons[stage], True) for stage in involved)) is not None:
        yield conflict, involved
        return
    for stage in sorted(involved):
        yield from _conflicts(stages - {stage}, sex, protocol, space)


def _conflict(stages: frozenset[str], sex: str, protocol: Protocol) -> Conflict | None:
    """Return None where the stages have room in some order, else the contradiction of the fewest rules."""
    placed = _placed(stages, protocol)
    links = [*_own(placed, protocol), *_ages(placed, sex, protocol)]
    for rule in protocol.intervals:
        if not rule.either_order:
            links.extend(_links(rule, placed))
    fixed = windows(links, BIRTH)
    if isinstance(fixed, Conflict):
        return fixed
    free = [rule for rule in protocol.intervals if rule.either_order and _both(rule, placed)]
    found: Conflict | None = None
    impossible: list[frozenset[tuple[str, str]]] = []
    for orders in product(*(list(_orders(rule, placed)) for rule in free)):
        order = [link for chosen in orders for link in chosen]
        sequence = frozenset((link.earlier, link.later) for link in order)
        if any(core <= sequence for core in impossible):
            continue
        answer = windows([*links, *order], BIRTH)
        if not isinstance(answer, Conflict):
            return None
        # Every other order with these stages in the same sequence meets the same contradiction.
        cycle = {frozenset(pair) for pair in pairwise(answer.events)}
        impossible.append(frozenset(pair for pair in sequence if frozenset(pair) in cycle))
        if found is None or len(answer.rules) < len(found.rules):
            found = answer
    return found


def _placed(stages: frozenset[str], protocol: Protocol) -> Mapping[str, list[str]]:
    """Return the numbered stages of each kind: lengthenings as often as they may be, what follows with them."""
    placed: dict[str, list[str]] = {}
    for stage in protocol.stages:
        leader = numbered_with(stage, protocol)
        if stage.id in stages or (leader is not None and leader.id in stages):
            times = stage.most if stage.bone is not None else leader.most if leader is not None else 1
            placed[stage.id] = [f"{stage.id} {number}" for number in range(1, times + 1)]
    return placed


def _own(placed: Mapping[str, list[str]], protocol: Protocol) -> Iterator[Link]:
    for kind, names in placed.items():
        days = _duration(protocol.stage(kind), protocol)
        for name in names:
            yield Link(BIRTH, f"{name}.start", 0, None, BIRTH)
            yield Link(f"{name}.start", f"{name}.end", days, None, f"duration of {kind}")


def _duration(stage: Stage, protocol: Protocol) -> int:
    if stage.bone is None:
        return most_days(stage.duration_months or 0)
    return round(protocol.number(f"{stage.bone}_days_per_cm") * protocol.number("least_lengthening_mm") / 10)


def _ages(placed: Mapping[str, list[str]], sex: str, protocol: Protocol) -> Iterator[Link]:
    for rule in protocol.age_windows:
        if rule.hard and rule.sex in (None, sex):
            for number, name in enumerate(placed.get(rule.stage, ()), start=1):
                if rule.number in (None, number):
                    yield _link(BIRTH, f"{name}.start", rule)


def _both(rule: Interval, placed: Mapping[str, list[str]]) -> bool:
    return rule.earlier_stage in placed and rule.later_stage in placed


def _links(rule: Interval, placed: Mapping[str, list[str]]) -> Iterator[Link]:
    """Yield the links of a rule between numbered stages, paired as the stage graph pairs them."""
    earlier, later = placed.get(rule.earlier_stage, []), placed.get(rule.later_stage, [])
    pairs: Iterable[tuple[str, str]]
    if rule.next and rule.earlier_stage == rule.later_stage:
        pairs = pairwise(earlier)
    elif rule.next:
        pairs = zip(earlier, later[1:], strict=False)
    elif rule.paired or (rule.at_most_months == 0 and rule.earlier.endswith(".end")):
        pairs = zip(earlier, later, strict=False)
    else:
        pairs = product(earlier, later[:1])
    points = [event.rpartition(".")[2] for event in (rule.earlier, rule.later)]
    for one, two in pairs:
        yield _link(f"{one}.{points[0]}", f"{two}.{points[1]}", rule)


def _link(earlier: str, later: str, rule: Interval | AgeWindow) -> Link:
    least = None if rule.at_least_months is None else most_days(rule.at_least_months)
    most = None if rule.at_most_months is None else fewest_days(rule.at_most_months)
    return Link(earlier, later, least, most, rule.id)


def _orders(rule: Interval, placed: Mapping[str, list[str]]) -> Iterator[list[Link]]:
    """Yield the links of a rule of either order for each way in which the two kinds can follow each other."""
    firsts, seconds = placed[rule.earlier_stage], placed[rule.later_stage]
    length = len(firsts) + len(seconds)
    ways = combinations(range(length), len(firsts))
    # Those in turn come first: they have room most often.
    for places in sorted(ways, key=lambda way: sum(abs(after - before - 2) for before, after in pairwise(way))):
        others = [place for place in range(length) if place not in places]
        links = []
        for (one, at), (two, then) in product(zip(firsts, places, strict=True), zip(seconds, others, strict=True)):
            before, after = (one, two) if at < then else (two, one)
            least = None if rule.at_least_months is None else most_days(rule.at_least_months)
            links.append(Link(f"{before}.end", f"{after}.start", least, None, rule.id))
        yield links


def _preferred_ages(protocol: Protocol) -> Iterator[Complaint]:
    for wish, rule in product(protocol.age_windows, protocol.age_windows):
        if wish.hard or not rule.hard or wish.stage != rule.stage:
            continue
        if None not in (wish.number, rule.number) and wish.number != rule.number:
            continue
        if None not in (wish.sex, rule.sex) and wish.sex != rule.sex:
            continue
        low = max(wish.at_least_months or 0, rule.at_least_months or 0)
        tops = [top for top in (wish.at_most_months, rule.at_most_months) if top is not None]
        if tops and low > min(tops):
            found = f"a usual age that {rule.id} leaves no month of"
            yield Complaint(wish.id, found, "usual ages within the hard ones", "correct one of the two")
