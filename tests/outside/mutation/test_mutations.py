"""One mistake in one rule is caught, by the cases kept as data or by the proofs; the share is printed.

The mistakes are made over every rule that decides about stages, order, ages or amounts; a run takes every
`EVERY`-th of each sort, in an order that never changes.
"""

from __future__ import annotations

from collections import Counter
from functools import cache

import pytest

from pathway.protocol.load import load_protocol
from pathway.protocol.prove import prove
from tests.outside.mutation.judges import BOUNDS, JUDGES, caught_by, holds_as_written
from tests.outside.mutation.mutants import Mutant, mutants

PROTOCOL = load_protocol()
EVERY = 5
BAR = 0.99


@cache
def every_mutant() -> tuple[Mutant, ...]:
    return tuple(mutants(PROTOCOL))


@pytest.fixture(scope="module")
def judged() -> list[tuple[Mutant, str]]:
    kinds = sorted({mutant.kind for mutant in every_mutant()})
    tried = [mutant for kind in kinds for mutant in [item for item in every_mutant() if item.kind == kind][::EVERY]]
    return [(mutant, caught_by(mutant)) for mutant in tried]


def test_the_shipped_rules_themselves_are_objected_to_by_nobody() -> None:
    whole = sorted({mutant.rule for mutant in every_mutant()})
    shipped = [Mutant(rule, "none", "nothing", PROTOCOL, (rule,)) for rule in whole[:: len(whole) // 12]]
    assert [caught_by(mutant) for mutant in shipped] == [""] * len(shipped)


def test_at_least_a_hundred_mistakes_of_every_sort_are_tried(judged) -> None:
    assert len(judged) >= 100
    assert {mutant.kind for mutant, _ in judged} == {mutant.kind for mutant in every_mutant()}
    assert {mutant.rule for mutant in every_mutant()} >= {rule.id for rule in (*PROTOCOL.gates, *PROTOCOL.intervals)}


def test_nearly_every_mistake_is_caught(judged) -> None:
    caught = Counter(name for _, name in judged)
    survivors = [mutant.name for mutant, name in judged if not name]
    rate = 1 - caught[""] / len(judged)
    print(f"{len(judged)} of {len(every_mutant())} mistakes tried, {100 * rate:.1f} of 100 caught: {dict(caught)}")
    assert survivors == []
    assert rate >= BAR


@pytest.mark.parametrize("name", ["a gate", "an indication"])
def test_a_rule_that_is_dropped_is_always_caught(name) -> None:
    ids = {rule.id for rule in (PROTOCOL.gates if name == "a gate" else PROTOCOL.indications)}
    dropped = [mutant for mutant in every_mutant() if mutant.kind == "dropped" and mutant.rule in ids]
    assert len(dropped) == len(ids)
    assert [mutant.name for mutant in dropped if not caught_by(mutant)] == []


@pytest.mark.parametrize("kind", ["threshold moved", "comparison flipped"])
def test_a_threshold_that_moves_or_turns_is_always_caught(kind) -> None:
    moved = [mutant for mutant in every_mutant() if mutant.kind == kind]
    assert [mutant.name for mutant in moved if not caught_by(mutant)] == []


@pytest.mark.parametrize("kind", ["sources removed", "source unknown", "number negative", "words removed"])
def test_the_proofs_alone_catch_what_is_missing_or_impossible(kind) -> None:
    assert all(prove(mutant.protocol) for mutant in [mutant for mutant in every_mutant() if mutant.kind == kind][::12])


def test_every_entry_of_the_second_hand_agrees_with_its_rule() -> None:
    assert [case["rule"] for case in BOUNDS if not holds_as_written(case, PROTOCOL)] == []


def test_every_rule_that_decides_has_its_second_entry() -> None:
    groups = (
        PROTOCOL.intervals,
        PROTOCOL.age_windows,
        PROTOCOL.amount_limits,
        PROTOCOL.devices,
        PROTOCOL.spans,
        PROTOCOL.both_sided,
        PROTOCOL.gates,
        PROTOCOL.indications,
    )
    ids = {rule.id for group in groups for rule in group} | {stage.id for stage in PROTOCOL.stages}
    assert ids <= {case["rule"] for case in BOUNDS}
    assert JUDGES.keys() >= {"rule cases", "proofs", "bounds"}
