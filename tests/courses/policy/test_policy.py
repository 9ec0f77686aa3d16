"""What is told of a policy: its path, its spreads, its first operation; and how it answers to what it is given."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from pathway.courses.policy.actions import ARREST, WAIT, Action
from pathway.courses.policy.first import first_operations
from pathway.courses.policy.induction import solve
from pathway.courses.policy.kernels import matrix, moves
from pathway.courses.policy.outcome import outcome
from pathway.courses.policy.path import path, spreads
from pathway.courses.policy.policy import best_policy
from pathway.courses.policy.programme import Tempo
from tests.courses.policy.by_hand import ByHand, Doing
from tests.courses.policy.programmes import Size, random_programme
from tests.courses.policy.realistic import realistic
from tests.offenders import for_each

SEEDS = st.integers(0, 10**6)
FEW = settings(max_examples=40)
YOUNG: dict[str, float] = {}
CHILDREN: tuple[dict[str, float], ...] = (
    YOUNG,
    {"mean_mm": 50.0, "age_years": 9.0},
    {"mean_mm": 100.0, "age_years": 15.0},
)


class TestMoves:
    @given(st.floats(-20, 20), st.floats(0, 30))
    def test_mean_and_variance_are_kept(self, mean: float, variance: float) -> None:
        steps, chances = moves(mean, variance)
        share = mean - np.floor(mean)
        assert chances.min() > 0 and chances.sum() == pytest.approx(1)
        assert steps @ chances == pytest.approx(mean, abs=1e-9)
        least = share * (1 - share)
        assert (steps - mean) ** 2 @ chances == pytest.approx(max(variance, least), abs=1e-8)

    def test_what_would_leave_the_grid_stays_at_its_edge(self) -> None:
        made = matrix(4, -1.5, 0.0)
        assert made.tolist() == [[1, 0, 0, 0], [1, 0, 0, 0], [0.5, 0.5, 0, 0], [0, 0.5, 0.5, 0]]


class TestFirst:
    @for_each(range(30))
    def test_a_commitment_costs_what_it_does_by_hand(self, seed: int) -> None:
        programme = random_programme(seed, Size(steps=3, gains=4, below=1, above=1, most=1, bones=2))
        first = first_operations(solve(programme))
        rules = ByHand(programme)
        _, state = next(rules.starts())
        allowed = 1  # nothing ever
        for visit in range(programme.steps):
            allowed += len(rules.allowed(state, visit)) - 1
            state = state._replace(waited=min(state.waited + 1, programme.waits - 1))
        assert len(first.commitments()) == allowed
        for one in first.commitments():
            doing = None
            if one.action.kind != WAIT:
                amount, plates = (None if at < 0 else at for at in (one.action.amount, one.action.plates))
                doing = Doing(amount, plates)
            assert one.cost == pytest.approx(committed(rules, one.visit, doing), rel=1e-9, abs=1e-9)

    @for_each(range(60))
    def test_today_the_least_is_the_value(self, seed: int) -> None:
        """Where the class is hidden today: what is best then does not hang on it."""
        given = random_programme(seed)
        solved = solve(replace(given, tempo=replace(given.tempo, known_from=max(given.tempo.known_from, 1))))
        assert min(first_operations(solved).today.values()) == pytest.approx(solved.value, rel=1e-9)

    def test_the_gap_is_to_another_choice(self) -> None:
        for child in CHILDREN:
            first = best_policy(realistic(**child)).first
            best, other, gap = first.best(), first.other(), first.gap()
            assert other is not None and gap is not None and gap >= 0
            commitments = first.commitments()
            another = [
                one.action.kind != best.action.kind
                or abs(one.age_years - best.age_years) > 1 + 1e-9
                or abs(one.mm - best.mm) > 10 + 1e-9
                for one in commitments
            ]
            assert commitments.index(other) == another.index(True) and commitments[0] == best

    def test_the_gap_moves_with_the_forecast_without_a_jump(self) -> None:
        """Two operations change places where the gap is 0; a millimetre never moves it by much."""
        gaps = [best_policy(realistic(mean_mm=50.0 + mm, age_years=9.0)).first.gap() or 0.0 for mm in range(0, 7, 2)]
        assert np.abs(np.diff(gaps)).max() < 0.15 and np.ptp(gaps) > 0.02

    def test_waiting_is_worth_what_the_best_operation_costs_more(self) -> None:
        programme = realistic(mean_mm=100.0, age_years=15.0)
        first = best_policy(programme, precision=np.float64).first
        operations = [cost for action, cost in first.today.items() if action.kind != WAIT]
        assert first.waiting() == pytest.approx(min(operations) - first.today[Action(WAIT)])
        no = np.zeros_like(programme.when)
        barred = replace(programme.arrest, allowed=np.zeros_like(programme.arrest.allowed))
        assert best_policy(replace(programme, when=no, arrest=barred)).first.waiting() is None


def committed(rules: ByHand, last: int, doing: Doing | None) -> float:
    """Return what it costs to wait until a visit and then do this (None: nothing ever), one state after the other."""
    given = rules.given

    def best(state, visit):  # type: ignore[no-untyped-def]
        if visit == given.steps:
            return rules.end(state)
        return min(follow(state, visit, each, best) for each in rules.allowed(state, visit))

    def follow(state, visit, each, after):  # type: ignore[no-untyped-def]
        outcomes = rules.outcomes(state, each, visit)
        return rules.burden(state, visit) + sum(p * (cost + after(then, visit + 1)) for p, cost, then in outcomes)

    def waits(state, visit):  # type: ignore[no-untyped-def]
        if visit == given.steps:
            return rules.end(state)
        if visit == last:
            assert doing in rules.allowed(state, visit)
            return follow(state, visit, doing, best)
        return follow(state, visit, Doing(), waits)

    return sum(p * waits(state, 0) for p, state in rules.starts())


class TestPath:
    @for_each(range(120), parts=2)
    def test_where_nothing_is_left_to_chance_it_is_what_happens(self, seed: int) -> None:
        """Its steps played by hand cost the value, and each is sure."""
        size = Size(steps=6, most=3, waits=3, sets=2, amounts=3, gains=9, bones=1 + seed % 2)
        programme = random_programme(seed, size, certain=True)
        solved = solve(programme)
        steps = {step.visit: step for step in path(solved, outcome(solved))}
        rules, cost = ByHand(programme), 0.0
        ((_, state),) = rules.starts()
        for visit in range(programme.steps):
            doing = Doing()
            if visit in steps:
                action = steps[visit].action
                doing = Doing(*(None if at < 0 else at for at in (action.amount, action.plates)))
                assert steps[visit].chance == pytest.approx(1) and steps[visit].chance_ever == pytest.approx(1)
            assert doing in rules.allowed(state, visit)
            ((_, charge, then),) = rules.outcomes(state, doing, visit)
            cost += charge + rules.burden(state, visit)
            state = then
        assert cost + rules.end(state) == pytest.approx(solved.value, rel=1e-9)

    def test_chances_and_spreads_fit_the_outcome(self) -> None:
        for child in CHILDREN:
            policy = best_policy(realistic(**child))
            told = {one.number: one for one in policy.spreads}
            for step in policy.path:
                assert 0 < step.chance <= step.chance_ever + 1e-12
                number = 0 if step.action.kind == ARREST else step.number
                assert told[number].chance == pytest.approx(step.chance_ever)
            for one in policy.spreads:
                assert list(one.age_years) == sorted(one.age_years) and list(one.mm) == sorted(one.mm)
            at_least = policy.outcome.number[::-1].cumsum()[::-1]
            for one in policy.spreads[:-1]:
                assert one.chance == pytest.approx(at_least[one.number])

    def test_quantiles_of_a_spread(self) -> None:
        policy = best_policy(realistic())
        (one,) = (spread for spread in spreads(policy.solved, policy.outcome, (0.25, 0.75)) if spread.number == 2)
        chances = policy.outcome.lengthened[1].sum(axis=1)
        ages = policy.solved.programme.age_years[:-1]
        for level, age in zip((0.25, 0.75), one.age_years, strict=True):
            assert chances[ages < age].sum() < level * chances.sum() <= chances[ages <= age].sum() + 1e-12


class TestWhatChangesTheValue:
    @FEW
    @given(SEEDS)
    def test_knowing_the_class_earlier_never_costs(self, seed: int) -> None:
        programme = random_programme(seed, Size(classes=3))
        values = [
            solve(replace(programme, tempo=replace(programme.tempo, known_from=visit))).value
            for visit in range(programme.steps + 1)
        ]
        assert all(early <= late + 1e-9 for early, late in pairwise(values))

    @FEW
    @given(SEEDS)
    def test_what_is_forbidden_never_saves(self, seed: int) -> None:
        programme = random_programme(seed, Size(bones=2))
        rng = np.random.default_rng(seed)
        tables, arrest = programme.lengthenings, programme.arrest
        fewer = replace(
            programme,
            lengthenings=tuple(
                replace(table, allowed=table.allowed & (rng.random(table.allowed.shape) < 0.7)) for table in tables
            ),
            arrest=replace(arrest, allowed=arrest.allowed & (rng.random(arrest.allowed.shape) < 0.7)),
        )
        assert solve(programme).value <= solve(fewer).value + 1e-9

    @FEW
    @given(SEEDS)
    def test_a_class_cut_in_two_is_the_same(self, seed: int) -> None:
        programme = random_programme(seed)
        both, arrest = [0, 1, 1], programme.arrest
        tempo = programme.tempo
        halves = np.array([tempo.chance[0], 0.4 * tempo.chance[1], 0.6 * tempo.chance[1]])
        cut = replace(
            programme,
            tempo=Tempo(halves, tempo.known_from, tempo.reached[both], tempo.offset_mm[both], tempo.long_leg_mm[both]),
            arrest=replace(
                arrest,
                effect_mm=arrest.effect_mm[both],
                cost=arrest.cost[both],
                cost_at_start=arrest.cost_at_start[both],
                cost_at_removal=arrest.cost_at_removal[both],
            ),
        )
        assert solve(cut).value == pytest.approx(solve(programme).value, rel=1e-9)

    @FEW
    @given(SEEDS)
    def test_dearer_operations_never_cost_less(self, seed: int) -> None:
        programme = random_programme(seed, Size(bones=2))
        dearer = replace(
            programme, lengthenings=tuple(replace(table, cost=table.cost + 0.3) for table in programme.lengthenings)
        )
        assert solve(programme).value <= solve(dearer).value + 1e-9

    def test_single_precision_keeps_the_value(self) -> None:
        for child in CHILDREN[1:]:
            programme = realistic(**child)
            exact, single = solve(programme).value, solve(programme, precision=np.float32)
            assert single.value == pytest.approx(exact, abs=1e-4)
            assert outcome(single).cost == pytest.approx(exact, abs=1e-4)
            assert outcome(single).cost >= exact - 1e-9

    def test_a_grid_twice_as_fine_changes_little(self) -> None:
        for child in CHILDREN[1:]:
            coarse, fine = (solve(realistic(grid_mm=mm, **child), precision=np.float32).value for mm in (5.0, 2.5))
            assert coarse == pytest.approx(fine, rel=0.01)


@pytest.mark.parametrize("left_mm", [-35.0, -12.0, 0.0, 7.0, 10.0, 24.0])
def test_what_is_missed_is_the_mean_over_what_no_visit_tells(left_mm: float) -> None:
    """Held against a quadrature of the normal distribution."""
    given = random_programme(3, Size(steps=3))
    given = replace(given, forecast=replace(given.forecast, open_variance_mm2=36.0))

    def at(z: float) -> float:
        return float(given.miss(np.array(left_mm + 6.0 * z))) * np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)

    borders = sorted((side * given.costs.miss_flat_mm - left_mm) / 6.0 for side in (-1, 1))
    expected, _ = quad(at, -9, 9, points=borders, limit=200)
    assert float(given.missed(np.array([left_mm]))[0]) == pytest.approx(expected, rel=1e-8)
