"""Every published worked example and printed figure of growth, and the constructed ones, run here.

A case is data: inputs, printed answer, the rounding of the print as tolerance, source and address. Where a
correct program differs by more, the case holds the expected answer and the reason.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pathway.growth import classical_methods, growth_curve, opinions
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from tests.growth.children import at, bones, child
from tests.offenders import for_each

HERE = Path(__file__).parent
CASES = {kind: tomllib.loads((HERE / f"{kind}.toml").read_text())["case"] for kind in ("growth", "growth_constructed")}
EVERY = [case for cases in CASES.values() for case in cases]

Inputs = Mapping[str, Any]


def multiplier(protocol: Protocol, given: Inputs) -> float:
    return float(growth_curve(protocol, given["sex"], "table").multiplier(given["age_years"]))


def developmental(protocol: Protocol, given: Inputs) -> float:
    (long0, long1), (short0, short1) = given["long_mm"], given["short_mm"]
    inhibited = classical_methods.inhibition(short0, short1, long0, long1)
    return classical_methods.developmental_by_multiplier(long1 - short1, inhibited, long1, multiplier(protocol, given))


def straight_line_arrest(protocol: Protocol, given: Inputs) -> float:
    table = protocol.table("straight_line_slopes")
    slopes = dict(zip((row[0] for row in table.rows), table.column("slope_left"), strict=True))
    return classical_methods.long_leg_after_arrest_by_straight_line(
        given["at_arrest_mm"], given["mature_long_mm"], slopes[given["plates_closed"]]
    )


def straight_line_mature(protocol: Protocol, given: Inputs) -> float:
    """Return the mature long leg of a child placed by skeletal age, through the road that the product takes."""
    visits = [
        bones(age, (0.5 * mm, 0.55 * mm, 0.4 * mm, 0.45 * mm), skeletal_age=age)
        for age, mm in zip(given["skeletal_years"], given["long_mm"], strict=True)
    ]
    # A line needs two visits: the one before it is of no skeletal age and does not place the child.
    before = bones(given["skeletal_years"][0] - 2, (250, 300, 210, 250))
    question = Question(child(before, *visits, sex=given["sex"]), protocol, at(given["skeletal_years"][-1]))
    note = next(opinion.note for opinion in opinions(question) if opinion.name == "straight-line method")
    return float(note.partition("mature long leg of ")[2].partition(" mm")[0])


def annual_growth_of_rule(protocol: Protocol, given: Inputs) -> float:
    yearly = protocol.number(f"annual_rule_{given['plate']}_mm")
    return classical_methods.by_annual_rule(0, yearly, given["skeletal_years"], given["end_age_years"])


def growth_rate_from_1964(protocol: Protocol, given: Inputs) -> float:
    plate = {"femur": "distal_femur", "tibia": "proximal_tibia"}[given["bone"]]
    table = protocol.table(f"amg_1964_{given['bone']}_{given['sex']}s")
    mean = dict(zip(table.column("age_years"), table.column("mean"), strict=True))
    left_cm = mean[18.0] - mean[given["from_age"]]
    return 10 * protocol.number(f"{plate}_share") * left_cm / given["years"]


def age_at_share_of_height(protocol: Protocol, given: Inputs) -> float:
    table = protocol.table(f"multiplier_spread_height_{given['sex']}s")
    shares = [1 / m for m in table.column("multiplier")]
    return float(np.interp(given["share"], shares, table.column("age_years")))


def tibia_over_femur(protocol: Protocol, given: Inputs) -> float:
    tibia, femur = (protocol.table(f"amg_1964_{bone}_{given['sex']}s") for bone in ("tibia", "femur"))
    rows = zip(tibia.column("age_years"), tibia.column("mean"), femur.column("mean"), strict=True)
    return float(np.mean([t / f for age, t, f in rows if 3 <= age <= 16]))


def one_plate(protocol: Protocol, given: Inputs) -> classical_methods.ArrestTiming:
    curve = growth_curve(protocol, given["sex"], "table")
    share = protocol.number("distal_femur_share")
    return classical_methods.arrest_by_multiplier(given["correction_mm"], given["mature_mm"], share, curve)


def both_plates(protocol: Protocol, given: Inputs) -> classical_methods.ArrestTiming:
    shares = protocol.number("distal_femur_share"), protocol.number("proximal_tibia_share")
    mature = given["mature_femur_mm"], given["mature_tibia_mm"]
    curve = growth_curve(protocol, given["sex"], "table")
    return classical_methods.arrest_both_by_multiplier(given["correction_mm"], *mature, shares, curve)


ANSWERS: dict[str, Callable[[Protocol, Inputs], float | None]] = {
    "congenital": lambda p, g: classical_methods.congenital_by_multiplier(g["discrepancy_mm"], multiplier(p, g)),
    "developmental": developmental,
    "straight_line": lambda p, g: classical_methods.short_leg_by_straight_line(
        g["long_mm"], g["short_mm"], g["mature_long_mm"]
    ),
    "straight_line_arrest": straight_line_arrest,
    "straight_line_mature": straight_line_mature,
    "annual_growth_of_rule": annual_growth_of_rule,
    "mature_length": lambda p, g: g["length_mm"] * multiplier(p, g),
    "growth_left": lambda p, g: g["mature_mm"] * (1 - 1 / multiplier(p, g)),
    "discrepancy_at_age": lambda p, g: g["mature_mm"] / multiplier(p, g),
    "annual_growth": lambda p, g: classical_methods.by_annual_rule(
        0, g["yearly_mm"], g["age_years"], g["end_age_years"]
    ),
    "annual_discrepancy": lambda p, g: classical_methods.by_annual_rule(
        g["discrepancy_mm"], g["yearly_mm"], g["age_years"], g["end_age_years"]
    ),
    "growth_rate_from_1964": growth_rate_from_1964,
    "age_at_share_of_height": age_at_share_of_height,
    "tibia_over_femur": tibia_over_femur,
    "arrest_age_one_plate": lambda p, g: one_plate(p, g).age_years,
    "arrest_multiplier_one_plate": lambda p, g: one_plate(p, g).multiplier,
    "arrest_growth_one_plate": lambda p, g: one_plate(p, g).growth_mm,
    "arrest_age_both_plates": lambda p, g: both_plates(p, g).age_years,
    "arrest_multiplier_both_plates": lambda p, g: both_plates(p, g).multiplier,
    "arrest_age_annual": lambda p, g: (
        classical_methods.arrest_by_annual_rule(g["correction_mm"], g["yearly_mm"], g["end_age_years"]).age_years
    ),
}


@for_each(EVERY)
def test_the_code_gives_the_printed_answer_or_the_explained_one(case: dict[str, Any], protocol: Protocol) -> None:
    answer = ANSWERS[case["method"]](protocol, case["inputs"])
    assert answer is not None
    if "above" in case:
        assert answer > case["above"]
    elif "computed" in case:
        digits = len(str(case["computed"]).partition(".")[2])
        assert round(answer, digits) == case["computed"]
        assert abs(answer - case["answer"]) > case["tolerance"], "within the rounding: needs no explanation"
        assert case["explained"]
    else:
        assert answer == pytest.approx(case["answer"], abs=case["tolerance"] + 1e-9)


@for_each(EVERY)
def test_a_case_says_where_it_comes_from(case: dict[str, Any]) -> None:
    assert case["source"].strip()


@for_each(CASES["growth"])
def test_a_published_case_can_be_looked_up(case: dict[str, Any]) -> None:
    assert case["address"].startswith("http")
    assert case["printed"]


@for_each(CASES["growth_constructed"])
def test_a_constructed_case_does_not_pass_for_published(case: dict[str, Any]) -> None:
    assert case["source"].startswith("constructed")
    assert "printed" not in case
    assert "address" not in case


def test_no_case_is_there_twice() -> None:
    ids = [case["id"] for case in EVERY]
    assert len(ids) == len(set(ids))
