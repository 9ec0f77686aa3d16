"""The temporal rows of tests/outside/published/scheduling_examples.toml; each row there carries its source.

Not computed here, because the network knows days and links and no crews or rooms: `feasible_with_resources`,
`demand`, `capacity` and `optimal_makespan` of the lag examples. `j301_1` has no links in the file, only its
two answers, so nothing of it is computed.
"""

from __future__ import annotations

import itertools
import tomllib
from pathlib import Path

import pytest

from pathway.network import Conflict, Link, windows

PUBLISHED = Path(__file__).parents[1] / "outside" / "published" / "scheduling_examples.toml"
EXAMPLES = tomllib.loads(PUBLISHED.read_text(encoding="utf-8"))
NO_UPPER_BOUND = 1_000_000

CASES = [(network, case) for network in EXAMPLES["stn"] for case in network["case"]]
ARROWS = [row for row in EXAMPLES["critical_path"] if row["style"] == "activity on arrow"]
NODES = [row for row in EXAMPLES["critical_path"] if row["style"] == "activity on node"]
LAGS = [row for row in EXAMPLES["lags"] if "edges" in row]


def _ids(rows) -> list[str]:
    return [row["id"] for row in rows]


def _named(network, case) -> list[Link]:
    points = network["points"]
    return [
        Link(points[a], points[b], least, None if most == NO_UPPER_BOUND else most, f"{a}-{b}")
        for a, b, least, most in [*network["common"], *case["extra"]]
    ]


consistent = [pair for pair in CASES if pair[1]["consistent"]]
inconsistent = [pair for pair in CASES if not pair[1]["consistent"]]


@pytest.mark.parametrize(("network", "case"), consistent, ids=[case["name"] for _, case in consistent])
def test_the_printed_distance_table_is_the_windows_from_every_point(network, case) -> None:
    points, table = network["points"], case["shortest_paths"]
    for i, origin in enumerate(points):
        answer = windows(_named(network, case), origin)
        assert not isinstance(answer, Conflict)
        assert [answer[point].latest_day for point in points] == table[i]
        assert [-answer[point].earliest_day for point in points] == [row[i] for row in table]


@pytest.mark.parametrize(("network", "case"), inconsistent, ids=[case["name"] for _, case in inconsistent])
def test_the_contradiction_names_all_rules_that_are_needed_and_the_minutes_it_misses(network, case) -> None:
    answer = windows(_named(network, case), network["points"][0])
    assert isinstance(answer, Conflict)
    assert set(answer.rules) == {f"{a}-{b}" for a, b, *_ in case["conflict"]}
    assert len(answer.rules) == 5
    assert answer.short_by_days == 20


def _activity(name: str, duration: int) -> list[Link]:
    return [
        Link("start", f"{name}.start", 0, None, "nothing begins before the project"),
        Link(f"{name}.start", f"{name}.end", duration, duration, f"duration of {name}"),
    ]


def _done_by(events: list[str], length: int) -> list[Link]:
    return [Link("start", event, None, length, "length") for event in events]


@pytest.mark.parametrize("example", ARROWS, ids=_ids(ARROWS))
def test_activities_on_arrows_start_and_finish_as_printed(example) -> None:
    rows = example["rows"]
    links = []
    for a, b, duration, *_ in rows:
        name = f"{a}-{b}"
        links += _activity(name, duration)
        links += [
            Link(f"{other_a}-{other_b}.end", f"{name}.start", 0, None, "after")
            for other_a, other_b, *_ in rows
            if other_b == a
        ]
    ends = [f"{a}-{b}.end" for a, b, *_ in rows]
    free = windows(links, "start")
    assert max(free[end].earliest_day for end in ends) == example["length"]
    tied = windows(links + _done_by(ends, example["length"]), "start")
    for a, b, _, early_start, early_finish, late_start, late_finish, slack in rows:
        begin, end = tied[f"{a}-{b}.start"], tied[f"{a}-{b}.end"]
        assert (begin.earliest_day, end.earliest_day) == (early_start, early_finish)
        assert (begin.latest_day, end.latest_day) == (late_start, late_finish)
        assert begin.latest_day - begin.earliest_day == slack
    path = example["critical"]
    without_slack = {(a, b) for a, b, *_ in rows if not _slack(tied[f"{a}-{b}.start"])}
    assert without_slack == set(itertools.pairwise(path))


@pytest.mark.parametrize("example", NODES, ids=_ids(NODES))
def test_activities_on_nodes_have_the_printed_length_and_slack(example) -> None:
    links = []
    for name, duration in example["duration"].items():
        links += _activity(name, duration)
        links += [Link(f"{other}.end", f"{name}.start", 0, None, "after") for other in example["after"][name]]
    ends = [f"{name}.end" for name in example["duration"]]
    free = windows(links, "start")
    assert max(free[end].earliest_day for end in ends) == example["length"]
    tied = windows(links + _done_by(ends, example["length"]), "start")
    slack = {name: _slack(tied[f"{name}.start"]) for name in example["duration"]}
    assert slack == example["slack"]
    assert [name for name in slack if not slack[name]] == example["critical"]


def test_a_project_that_must_be_a_day_shorter_than_its_critical_path_is_a_conflict() -> None:
    (example,) = NODES
    links = []
    for name, duration in example["duration"].items():
        links += _activity(name, duration)
        links += [Link(f"{other}.end", f"{name}.start", 0, None, "after") for other in example["after"][name]]
    ends = [f"{name}.end" for name in example["duration"]]
    conflict = windows(links + _done_by(ends, example["length"] - 1), "start")
    assert isinstance(conflict, Conflict)
    durations = {f"duration of {name}" for name in example["critical"]}
    assert durations <= set(conflict.rules)
    assert conflict.short_by_days == 1


@pytest.mark.parametrize("example", LAGS, ids=_ids(LAGS))
def test_least_and_longest_lags_give_the_earliest_starts_and_the_earliest_end(example) -> None:
    first = 0 if len(example["duration"]) == 12 else 1
    tasks = [str(number) for number in range(first, first + len(example["duration"]))]
    links = [Link("origin", task, 0, None, "nothing begins before the project") for task in tasks]
    links += [Link(str(a), str(b), lag, None, "lag") for a, b, lag in example["edges"]]
    answer = windows(links, "origin")
    assert example["temporally_consistent"] is not isinstance(answer, Conflict)
    starts = [answer[task].earliest_day for task in tasks]
    assert starts == example["earliest_start"]
    ends = [start + duration for start, duration in zip(starts, example["duration"], strict=True)]
    assert max(ends) == example["earliest_makespan"]


def test_every_published_example_carries_its_source() -> None:
    for rows in EXAMPLES.values():
        assert all(row["source"].strip() for row in rows)


def _slack(window) -> int:
    return window.latest_day - window.earliest_day
