"""A conflict names the fewest links that contradict each other, and by how many days."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from pathway.network import Conflict, Link, fewest_rules_in_conflict, windows
from tests.ground.random_networks import any_links, arcs_of, simple_cycles, sound_links

NETWORKS = 320


def test_a_link_whose_least_is_above_its_most_contradicts_itself() -> None:
    conflict = windows([Link("birth", "hip", 900, 700, "a")], "birth")
    assert conflict == Conflict(rules=("a",), events=("birth", "hip", "birth"), short_by_days=200)


def test_two_rules_of_one_pair() -> None:
    links = [Link("birth", "hip", 900, None, "not before"), Link("birth", "hip", 0, 700, "not after")]
    conflict = windows(links, "birth")
    assert conflict == Conflict(("not after", "not before"), ("birth", "hip", "birth"), 200)


def test_the_shorter_of_two_contradictions_is_named() -> None:
    links = [
        Link("a", "b", 10, None, "1"),
        Link("b", "c", 10, None, "2"),
        Link("a", "c", None, 5, "3"),
        Link("a", "d", 3, None, "4"),
        Link("a", "d", None, 2, "5"),
    ]
    assert set(fewest_rules_in_conflict(links).rules) == {"4", "5"}
    assert fewest_rules_in_conflict(links).short_by_days == 1


def test_links_that_only_just_agree_are_no_conflict() -> None:
    links = [Link("a", "b", 10, None, "1"), Link("a", "b", 0, 10, "2")]
    assert not isinstance(windows(links, "a"), Conflict)
    with pytest.raises(ValueError, match="consistent"):
        fewest_rules_in_conflict(links)


@cache
def _inconsistent() -> tuple[tuple[list[Link], Conflict], ...]:
    """Return the first random networks of 4 to 6 events that have a negative cycle, with what is answered."""
    found = []
    seed = 0
    while len(found) < NETWORKS:
        links = any_links(np.random.default_rng(seed), events=4 + seed % 3)
        if any(weight < 0 for _, weight in simple_cycles(arcs_of(links))):
            answer = windows(links, "e0")
            assert isinstance(answer, Conflict), f"seed {seed}: a contradiction was missed"
            found.append((links, answer))
        seed += 1
    return tuple(found)


def _pairs(conflict: Conflict) -> list[tuple[str, str]]:
    return list(zip(conflict.events, conflict.events[1:], strict=False))


def test_a_network_is_in_conflict_exactly_when_some_cycle_is_negative() -> None:
    for seed in range(300):
        links = (any_links if seed % 2 else sound_links)(np.random.default_rng(seed), events=5)
        negative = any(weight < 0 for _, weight in simple_cycles(arcs_of(links)))
        assert isinstance(windows(links, "e0"), Conflict) == negative, seed


def test_the_conflict_is_a_real_negative_cycle() -> None:
    for links, conflict in _inconsistent():
        arcs = arcs_of(links)
        assert conflict.events[0] == conflict.events[-1]
        assert len(set(conflict.events)) == len(conflict.events) - 1
        assert sum(arcs[pair] for pair in _pairs(conflict)) == -conflict.short_by_days < 0


def test_no_negative_cycle_has_fewer_arcs_and_none_of_that_length_is_shorter_of_days() -> None:
    for links, conflict in _inconsistent():
        negative = [(len(cycle), weight) for cycle, weight in simple_cycles(arcs_of(links)) if weight < 0]
        assert (len(_pairs(conflict)), -conflict.short_by_days) == min(negative)


def test_each_arc_of_the_cycle_is_demanded_by_a_rule_that_is_named_and_no_other_is_named() -> None:
    for links, conflict in _inconsistent():
        arcs = arcs_of(links)
        demanding = [
            {link.rule for link in links if arcs_of([link]).get(pair) == arcs[pair]} for pair in _pairs(conflict)
        ]
        assert all(rules & set(conflict.rules) for rules in demanding)
        assert set(conflict.rules) <= set().union(*demanding)


def test_relaxing_one_named_rule_by_the_missing_days_breaks_the_cycle_and_by_one_day_less_does_not() -> None:
    tried = 0
    for links, conflict in _inconsistent():
        named = [link for link in links if link.rule in conflict.rules]
        pairs = _pairs(conflict)
        if len(conflict.rules) != len(pairs):
            continue
        for rule in conflict.rules:
            enough = arcs_of([_relaxed(link, rule, conflict.short_by_days) for link in named])
            short = arcs_of([_relaxed(link, rule, conflict.short_by_days - 1) for link in named])
            assert sum(enough[pair] for pair in pairs) >= 0
            assert sum(short[pair] for pair in pairs) < 0
            tried += 1
    assert tried > 300


def test_relaxing_every_named_rule_by_the_missing_days_always_breaks_the_cycle() -> None:
    for links, conflict in _inconsistent():
        relaxed = links
        for rule in conflict.rules:
            relaxed = [_relaxed(link, rule, conflict.short_by_days) for link in relaxed]
        named = [link for link in relaxed if link.rule in conflict.rules]
        arcs = arcs_of(named)
        assert sum(arcs[pair] for pair in _pairs(conflict)) >= 0


def _relaxed(link: Link, rule: str, days: int) -> Link:
    if link.rule != rule:
        return link
    least = None if link.at_least_days is None else link.at_least_days - days
    most = None if link.at_most_days is None else link.at_most_days + days
    return replace(link, at_least_days=least, at_most_days=most)


def test_each_rule_of_the_conflict_says_by_how_much_it_alone_would_give_way_and_no_day_less_would_do() -> None:
    tried = 0
    for links, conflict in _inconsistent():
        assert tuple(item.rule for item in conflict.relaxations) == conflict.rules
        pairs = _pairs(conflict)
        arcs = arcs_of(links)
        for item in conflict.relaxations:
            # The cycle as it stands: of each arc the tightest link, of a named rule only where it is that link.
            places = [pair for bound in item.bounds for pair in arcs_of([bound])]
            assert set(places) <= set(pairs)

            def weight(given: int, places=places, arcs=arcs, pairs=pairs) -> int:
                return sum(arcs[pair] + given * places.count(pair) for pair in pairs)

            assert weight(item.days) >= 0 > weight(item.days - 1)
            tried += 1
    assert tried > 600


def test_giving_way_mends_the_links_of_the_conflict_and_a_day_less_does_not() -> None:
    """The same said with the network itself: the conflict's own links, one rule loosened, solved anew."""
    for _, conflict in _inconsistent()[:120]:
        bounds = [bound for item in conflict.relaxations for bound in item.bounds]
        origin = conflict.events[0]
        floor = [Link(origin, event, -1000, None, "floor") for event in conflict.events[1:-1]]
        assert isinstance(windows(floor + bounds, origin), Conflict)
        for item in conflict.relaxations:
            enough = [_relaxed(bound, item.rule, item.days) for bound in bounds]
            short = [_relaxed(bound, item.rule, item.days - 1) for bound in bounds]
            assert not isinstance(windows(floor + enough, origin), Conflict)
            assert isinstance(windows(floor + short, origin), Conflict)


def test_a_rule_that_stands_in_the_conflict_twice_gives_way_at_both_places() -> None:
    conflict = windows([Link("birth", "hip", 900, 699, "a")], "birth")
    assert isinstance(conflict, Conflict)
    (only,) = conflict.relaxations
    assert only.days == 101
    assert only.bounds == (Link("birth", "hip", None, 699, "a"), Link("birth", "hip", 900, None, "a"))
