"""Rates of lengthenings: they add up, they follow the counts, and they are not told where counts do not reach."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pathway.problems import Refused
from pathway.protocol.harm import OUTCOMES
from pathway.protocol.load import load_protocol, read_overlay, with_overlay
from pathway.risk.pooled import pooled
from pathway.risk.rates import SLOPES, log_events, order_of, rate
from pathway.risk.steps import Step
from pathway.risk.terms import behind
from tests.growth.protocols import with_value

PROTOCOL = load_protocol()
STEP = Step("femur", 40, 15, 8, hip_cover="good")
SMALL = replace(STEP, percent=12, age_years=11)
LARGE = replace(STEP, mm=80, percent=30)
UNDECIDED = "not decided by published counts"
SHOWN = tuple(name for name in OUTCOMES if rate(PROTOCOL, name, STEP).shown)
"""Outcomes of which three series or more speak alone."""


def numbers(found) -> tuple[float, float, float]:
    assert found.centre is not None and found.low is not None and found.high is not None
    return found.low, found.centre, found.high


def test_what_one_or_two_series_counted_has_no_rate() -> None:
    few = {name for name in OUTCOMES if len({item.series for item in behind(PROTOCOL, name)}) < 3}
    assert set(OUTCOMES) - set(SHOWN) == few
    for name in few:
        found = rate(PROTOCOL, name, STEP)
        assert (found.centre, found.low, found.high, found.shown) == (None, None, None, False)
        assert found.why_not == "seen, rate not known"
        assert found.counts


@pytest.mark.parametrize("outcome", SHOWN)
def test_the_typical_team_lies_within_the_counts_and_a_new_team_may_lie_anywhere_in_them(outcome: str) -> None:
    # The counts themselves are the outside: n of N as printed, each with its source in rules/harms.
    per_hundred = [100 * item.n / (item.of or 1) for item in behind(PROTOCOL, outcome)]
    low, centre, high = numbers(rate(PROTOCOL, outcome, replace(STEP, percent=20)))
    assert min(per_hundred) <= centre <= max(per_hundred)
    assert low < min(value for value in per_hundred if value >= np.median(per_hundred))
    assert high > np.median(per_hundred)


@pytest.mark.parametrize("outcome", SHOWN)
def test_steps_of_one_child_add_up(outcome: str) -> None:
    one, other, both = (numbers(rate(PROTOCOL, outcome, steps)) for steps in (STEP, LARGE, (STEP, LARGE)))
    assert both[1] == pytest.approx(one[1] + other[1])
    assert rate(PROTOCOL, outcome, (STEP, LARGE)).per == "100 children"
    assert rate(PROTOCOL, outcome, STEP).per == "100 lengthenings"
    assert all(more > less for more, less in zip(both, one, strict=True))


def test_the_team_of_both_steps_is_the_same() -> None:
    # Two equal steps of one team have twice the events: nothing of the range is evened out.
    one, two = (numbers(rate(PROTOCOL, "fracture", steps)) for steps in (STEP, (STEP, STEP)))
    assert two == pytest.approx([2 * value for value in one])


@pytest.mark.parametrize("outcome", SHOWN)
def test_the_steeper_the_slope_the_more_a_larger_share_counts(outcome: str) -> None:
    ratios = []
    for slope in (-0.3, 0.0, 0.21, 0.6, 0.9):
        table = pooled(PROTOCOL).at_slope(slope)
        large, small = (log_events(PROTOCOL, table, outcome, [step])[0] for step in (LARGE, STEP))
        ratios.append(large - small)
        assert large - small == pytest.approx(slope * 1.5)
    assert ratios == sorted(ratios)


def test_what_changes_a_rate_in_print_changes_it_here() -> None:
    # Fracture 8 of 45 with a rod at removal, 32 of 95 without (J Pediatr Orthop, PMID 26650581).
    with_rod, without = (numbers(rate(PROTOCOL, "fracture", replace(STEP, rod=rod)))[1] for rod in (True, False))
    assert with_rod < without
    # Hip worse in 0 of 14 above 20 deg of cover, 5 of 12 at or below (Suzuki S et al. J Pediatr Orthop 1994;14:343).
    covered, shallow = (numbers(rate(PROTOCOL, "hip", replace(STEP, hip_cover=cover)))[1] for cover in ("good", "poor"))
    assert shallow > 2 * covered
    # Deep infection 15 of 48 and 6 of 14 by fast distraction, 0 of 36 and 0 of 31 later (rules/harms, with sources).
    fast = numbers(rate(PROTOCOL, "deep_infection", replace(STEP, device="fast_distraction")))[1]
    assert fast > 2 * numbers(rate(PROTOCOL, "deep_infection", STEP))[1]


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"percent": 9}, "10 to 35 %"),
        ({"percent": 36}, "10 to 35 %"),
        ({"age_years": 4.5}, "5 to 18 years"),
        ({"age_years": 19}, "5 to 18 years"),
        ({"bone_disorder": True}, "diseased bones"),
    ],
)
def test_beyond_the_reach_of_the_counts_no_rate_is_told(changed: dict, says: str) -> None:
    for name in SHOWN:
        found = rate(PROTOCOL, name, (STEP, replace(STEP, **changed)))
        assert not found.shown and found.centre is None
        assert says in found.why_not


def test_a_rate_is_told_only_for_bones_devices_and_hips_that_were_counted() -> None:
    assert rate(PROTOCOL, "hip", replace(STEP, bone="tibia")).why_not == "only a lengthening of the femur was counted"
    assert "cover of the hip" in rate(PROTOCOL, "hip", replace(STEP, hip_cover="unknown")).why_not
    # No series of lengthening nails printed its fractures.
    assert "no series with this device" in rate(PROTOCOL, "fracture", replace(STEP, device="nail")).why_not
    assert rate(PROTOCOL, "shortfall", replace(STEP, device="nail")).shown


@pytest.mark.parametrize(
    ("outcome", "step", "says"),
    [
        ("happiness", STEP, "'happiness'.*unplanned_operation"),
        ("hip", replace(STEP, device="other"), "'other'"),
        ("hip", replace(STEP, percent=float("nan")), "percent nan"),
        ("hip", replace(STEP, mm=-5), "mm -5"),
    ],
)
def test_what_is_unknown_is_refused_with_a_sentence(outcome: str, step: Step, says: str) -> None:
    with pytest.raises(Refused, match=says):
        rate(PROTOCOL, outcome, step)
    with pytest.raises(Refused, match=says):
        order_of(PROTOCOL, [step], [STEP], [outcome])


def test_no_step_has_no_rate() -> None:
    with pytest.raises(ValueError, match="no step"):
        rate(PROTOCOL, "fracture", ())


class TestOrder:
    """Which of two plans has fewer expected events, where published counts decide it."""

    def test_one_large_or_two_small_is_not_decided(self) -> None:
        for name in SHOWN:
            assert order_of(PROTOCOL, [LARGE], [STEP, SMALL], [name]) == UNDECIDED
            assert order_of(PROTOCOL, [STEP, SMALL], [LARGE], [name]) == UNDECIDED
        assert order_of(PROTOCOL, [LARGE], [STEP, SMALL]) == UNDECIDED

    @pytest.mark.parametrize("parts", [2, 3])
    @pytest.mark.parametrize("percent", [20, 25, 30, 35])
    def test_parts_of_one_amount_never_come_out_with_fewer(self, percent: float, parts: int) -> None:
        each = replace(STEP, percent=max(percent / parts, 10.0))
        assert order_of(PROTOCOL, [each] * parts, [replace(STEP, percent=percent)]) != "fewer"

    def test_a_plan_with_a_further_step_has_more(self) -> None:
        assert order_of(PROTOCOL, [STEP], [STEP, SMALL]) == "fewer"
        assert order_of(PROTOCOL, [STEP, SMALL], [STEP]) == "more"

    def test_the_same_plan_and_a_larger_step_alone_are_not_ordered(self) -> None:
        assert order_of(PROTOCOL, [STEP], [STEP]) == UNDECIDED
        # At a slope of 0 both have the same events.
        assert order_of(PROTOCOL, [STEP], [LARGE]) == UNDECIDED

    def test_nails_are_not_ordered_against_frames_and_covered_hips_are_against_shallow_ones(self) -> None:
        nail = replace(STEP, device="nail", age_years=14)
        assert order_of(PROTOCOL, [nail], [replace(STEP, age_years=14)]) == UNDECIDED
        poor = replace(STEP, hip_cover="poor")
        assert order_of(PROTOCOL, [STEP], [poor], ["hip"]) == "fewer"
        assert order_of(PROTOCOL, [STEP], [poor]) == UNDECIDED

    def test_beyond_the_reach_of_the_counts_nothing_is_decided(self) -> None:
        assert order_of(PROTOCOL, [STEP], [STEP, replace(SMALL, percent=8)]) == UNDECIDED
        assert order_of(PROTOCOL, [STEP], [STEP, SMALL], ["fracture", "knee"]) == UNDECIDED

    def test_the_slopes_are_those_of_the_rules(self) -> None:
        assert [PROTOCOL.number(name) for name in SLOPES] == [0, 0.21, 0.6]
        only_steep = with_value(with_value(PROTOCOL, SLOPES[0], 0.9), SLOPES[1], 0.9)
        assert order_of(with_value(only_steep, SLOPES[2], 0.9), [STEP], [LARGE]) == "fewer"


def test_a_clinics_own_counts_are_listed_and_said_not_to_be_pooled(tmp_path) -> None:
    own = """
[[harm]]
id = "hill.fracture"
what = "fracture"
treatment = "lengthening"
series = "hill"
kind = "share"
n = 3
of = 40
population = "our own femora"
diagnosis = "congenital"
bone = "femur"
device = "frame"
percent = { mean = 17 }
family_words = "In 3 of 40 lengthenings here, the bone broke."
directness = "direct"
indirect = "our own children"
fit = true
provenance = "read"
sources = ["own_judgement"]
"""
    (tmp_path / "own.toml").write_text(own, encoding="utf-8")
    theirs = with_overlay(PROTOCOL, read_overlay(tmp_path))
    found, ours = rate(theirs, "fracture", STEP), rate(PROTOCOL, "fracture", STEP)
    assert numbers(found) == numbers(ours)
    assert {item.id for item in found.counts} - {item.id for item in ours.counts} == {"hill.fracture"}
    assert "without the clinic's own" in found.note
    assert not ours.note
