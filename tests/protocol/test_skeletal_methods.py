"""Ways of reading a skeletal age: errors that follow from print, stages as printed, ages, faults that are refused."""

from __future__ import annotations

import datetime
import math
from itertools import pairwise
from pathlib import Path

import pytest

from pathway.problems import Refused
from pathway.protocol.load import load_protocol, read_protocol
from pathway.protocol.skeletal_methods import (
    only_a_bound,
    outside_ages,
    read_words,
    reading_sd_years,
    skeletal_method,
    stage_of_years,
    stages_of,
    years_of_stage,
)
from pathway.record import Sex, Visit
from tests.protocol.rule_folder import Planted, plant

PROTOCOL = load_protocol()
SEXES: tuple[Sex, ...] = ("girl", "boy")
MEAN_ABSOLUTE = math.sqrt(2 / math.pi)
"""The mean absolute value of a normal deviate over its SD."""


def read(method: str | None, years: float) -> Visit:
    return Visit(date=datetime.date(2030, 1, 1), method="", skeletal_age_years=years, skeletal_age_method=method)


def width_sd(method: str, sex: Sex) -> float:
    """Return the SD of an age spread evenly within a stage (root mean square over the stages)."""
    found = skeletal_method(PROTOCOL, method)
    assert found is not None
    ages = list(stages_of(PROTOCOL, found, sex).values())
    gaps = [later - sooner for sooner, later in pairwise(ages)]
    return math.sqrt(sum(gap**2 for gap in gaps) / len(gaps) / 12)


def test_the_error_of_the_atlas_follows_from_two_observers() -> None:
    # Roche AF et al. Am J Roentgenol 1970: two observers differed by 0.43 years on average (90 radiographs).
    assert reading_sd_years(PROTOCOL, "hand_atlas") == pytest.approx(0.43 / MEAN_ABSOLUTE / math.sqrt(2), abs=0.005)


def test_the_error_of_the_one_criterion_reading_follows_from_its_difference_from_the_atlas() -> None:
    # Bixby EC et al. J Pediatr Orthop 2022;e80-e85: mean absolute difference from the atlas 7.6 months.
    both = 7.6 / 12 / MEAN_ABSOLUTE
    alone = math.sqrt(both**2 - reading_sd_years(PROTOCOL, "hand_atlas") ** 2)
    assert reading_sd_years(PROTOCOL, "hand_shorthand") == pytest.approx(alone, abs=0.01)


@pytest.mark.parametrize("method", ["hand_stages", "elbow_stages"])
def test_the_error_of_stages_is_their_width_and_one_atlas_reading(method: str) -> None:
    # Widths: Sanders et al. 2008 (0.5 to 1.5 years), Charles et al. 2007 (six months).
    widest = max(width_sd(method, sex) for sex in SEXES)
    together = math.hypot(widest, reading_sd_years(PROTOCOL, "hand_atlas"))
    assert reading_sd_years(PROTOCOL, method) == pytest.approx(together, abs=0.01)


def test_a_way_that_is_not_said_is_as_wide_as_the_widest() -> None:
    known = [reading_sd_years(PROTOCOL, method.id) for method in PROTOCOL.skeletal_methods]
    assert reading_sd_years(PROTOCOL, None) == max(known) > reading_sd_years(PROTOCOL, "hand_atlas")
    assert read_words(PROTOCOL, None) == "way of reading not recorded, read ±0.7 years"
    assert read_words(PROTOCOL, "hand_atlas") == "hand atlas, read ±0.4 years"


@pytest.mark.parametrize(
    ("method", "stage", "girl", "boy"),
    [
        # Dimeglio et al. J Bone Joint Surg Am 2005;87:1689-1696, ages as in a review chapter
        # (musculoskeletalkey.com, evidence-based management of limb length discrepancy).
        ("elbow_stages", "two ossification centres", 11.0, 13.0),
        ("elbow_stages", "half-moon", 11.5, 13.5),
        ("elbow_stages", "complete fusion", 13.0, 15.0),
        # Heyworth et al. J Pediatr Orthop 2013;33:569-574, criteria as in the same chapter.
        ("hand_shorthand", "hook of hamate appears", 10.0, 12.5),
        ("hand_shorthand", "thumb sesamoid appears", 11.0, 13.0),
        ("hand_shorthand", "index metacarpal physis closed", 15.0, None),
        # Sanders et al. J Bone Joint Surg Am 2008;90:540-553, from memory.
        ("hand_stages", "3", 11.5, 13.75),
        ("hand_stages", "8", None, None),
    ],
)
def test_stages_have_their_published_ages(method: str, stage: str, girl: float | None, boy: float | None) -> None:
    found = skeletal_method(PROTOCOL, method)
    assert found is not None
    assert [years_of_stage(PROTOCOL, found, sex, stage) for sex in SEXES] == [girl, boy]


def test_the_stage_comes_back_from_the_years_and_every_stage_lies_within_the_ages_of_its_method() -> None:
    for method in PROTOCOL.skeletal_methods:
        for sex in SEXES:
            for stage, years in stages_of(PROTOCOL, method, sex).items():
                assert stage_of_years(PROTOCOL, method.id, sex, years) == stage
                assert outside_ages(PROTOCOL, read(method.id, years), sex) is None
    assert stage_of_years(PROTOCOL, "hand_atlas", "girl", 11.0) is None


def test_a_reading_outside_the_ages_of_its_method_is_told() -> None:
    # The elbow is read for the two years of the growth spurt (Dimeglio et al. 2005): girls 11 to 13.
    assert outside_ages(PROTOCOL, read("elbow_stages", 9.0), "girl") == (11, 13)
    assert outside_ages(PROTOCOL, read("elbow_stages", 14.0), "boy") is None
    assert outside_ages(PROTOCOL, read(None, 9.0), "girl") is None


@pytest.mark.parametrize(
    ("method", "years", "age", "bound"),
    [
        ("elbow_stages", 13.0, 15.0, True),
        ("elbow_stages", 13.0, 12.0, False),
        ("elbow_stages", 12.5, 15.0, False),
        ("hand_stages", 8.8, 6.0, True),
        ("hand_stages", 8.8, 9.5, False),
        ("hand_shorthand", 10.0, 8.5, False),
        (None, 13.0, 15.0, False),
    ],
)
def test_the_last_stage_says_nothing_of_a_child_beyond_it(
    method: str | None, years: float, age: float, bound: bool
) -> None:
    assert bool(only_a_bound(PROTOCOL, read(method, years), "girl", age)) == bound


FAULTS = (
    ("an error that is no value", 'sd_value = "skeletal_age_elbow_sd_years"', 'sd_value = "elbow"', "'elbow'"),
    ("stages without a table", 'stages = "skeletal_age_olecranon"', 'stages = "olecranon"', "'olecranon'"),
    ("ages the wrong way round", "girls = [11, 13]", "girls = [13, 11]", "younger one first"),
    ("a source nobody knows", '"dimeglio_2005_elbow"', '"nobody_1900"', "nobody_1900"),
)


@pytest.mark.parametrize(("name", "old", "new", "says"), FAULTS, ids=[fault[0] for fault in FAULTS])
def test_a_fault_is_refused_with_its_rule(tmp_path: Path, name: str, old: str, new: str, says: str) -> None:
    fault = Planted(name, "skeletal_methods.toml", 'id = "elbow_stages"', old, new, "elbow_stages", says)
    with pytest.raises(Refused) as told:
        read_protocol(plant(tmp_path, fault))
    assert any("elbow_stages" in item.key and says in item.sentence for item in told.value.problems)
    assert all("skeletal_methods.toml" in item.place for item in told.value.problems)
