"""The device of each lengthening is the one that costs least there, worked out again device by device."""

from __future__ import annotations

import numpy as np
import pytest

from pathway.courses.policy.child import programme_of
from pathway.courses.policy.device_tables import OneDevice, cheapest, open_devices, rows_of, usable
from pathway.courses.policy.policy import best_policy
from pathway.courses.policy.risks import JOINTS, SOUND, Risks
from pathway.courses.problem import CourseProblem
from pathway.growth import fit_growth
from pathway.plan.make import problems_of
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.overlay import Entry, Overlay, laid_over
from pathway.protocol.question import Question
from pathway.rule_engine.facts import known_steps
from tests.examples import ON, example

NAIL = "femoral_internal_nail"
CHILDREN = ("elder-15", "oak-12", "alder-06")


def asked(name: str, protocol: Protocol | None = None) -> tuple[CourseProblem, Question]:
    question = Question(example(name), protocol or load_protocol(), ON).as_known()
    posterior = fit_growth(question, known_steps=known_steps(question))
    assert posterior is not None
    problems = problems_of(question, posterior)
    assert isinstance(problems, tuple)
    return problems[0], question


def without(*devices: str) -> Protocol:
    # A programme of print that asks for a device goes with it.
    asking = [
        one.id
        for one in load_protocol().printed_programmes
        if set(devices) & {device for step in one.steps for device in step.devices}
    ]
    named = [("devices", id) for id in devices] + [("printed_programmes", id) for id in asking]
    off = tuple(Entry(kind, id, {"off": True, "because": "Not here."}, "own.toml") for kind, id in named)
    theirs = laid_over(load_protocol(), Overlay("", "", off))
    assert isinstance(theirs, Protocol)
    return theirs


def _risks(shape: tuple[int, ...], rng: np.random.Generator) -> Risks:
    joints = rng.random((*shape, len(JOINTS), len(JOINTS)))
    states = (*shape, len(JOINTS))
    return Risks(rng.random(states), rng.random(states), rng.random(shape), np.ones(shape), joints, 0.1, shape > ())


@pytest.mark.parametrize("seed", range(5))
def test_the_cheapest_of_any_tables_is_taken_cell_by_cell(seed: int) -> None:
    rng = np.random.default_rng(seed)
    shape = (6, 4, 3)
    devices = [device for device in load_protocol().devices if device.bone == "femur"][:3]
    made = []
    for number, device in enumerate(devices):
        may = rng.random(shape[:2]) < 0.6 if number else np.ones(shape[:2], bool)
        rows = rows_of(may)
        own = (rows.stop - rows.start, *shape[1:])
        cost = rng.random((*own, len(JOINTS)))
        made.append(OneDevice(device, rows, may[rows], np.arange(4.0) + number, _risks(own, rng), cost))
    before = made[0].cost.copy()
    chosen = cheapest(made[0], made[1:])
    assert (made[0].cost == before).all()
    for t, x, g in np.ndindex(shape):
        known = [
            (one.cost[t - one.rows.start, x, g, SOUND], number)
            for number, one in enumerate(made)
            if one.rows.start <= t < one.rows.stop and one.usable[t - one.rows.start, x]
        ]
        least, number = min(known)
        one, row = made[number], t - made[number].rows.start
        assert chosen.used[t, x, g] == number
        assert chosen.cost[t, x, g, SOUND] == least
        assert chosen.months[t, x, g] == one.months[x]
        assert (chosen.risks.joints[t, x, g] == one.risks.joints[row, x, g]).all()
        assert (chosen.risks.harm[t, x, g] == one.risks.harm[row, x, g]).all()
        assert chosen.risks.short[t, x, g] == one.risks.short[row, x, g]


@pytest.mark.parametrize("name", CHILDREN)
def test_a_childs_tables_cost_no_more_than_with_frames_alone_and_less_only_where_the_nail_is_used(name: str) -> None:
    problem, question = asked(name)
    bare, frames_only = asked(name, without(NAIL, "tibial_internal_nail"))
    both, frames = programme_of(problem, question), programme_of(bare, frames_only)
    assert both is not None
    assert frames is not None
    for mine, theirs in zip(both.tables, frames.tables, strict=True):
        one, other = mine.lengthening.cost[..., SOUND], theirs.lengthening.cost[..., SOUND]
        nailed = mine.used > 0
        assert (one[~nailed] == other[~nailed]).all()
        assert (one[nailed] < other[nailed]).all()
        assert mine.devices[0] == theirs.devices[0]
    assert best_policy(both.programme).value <= best_policy(frames.programme).value + 1e-9


def test_no_nail_before_its_age_nor_beyond_its_amounts() -> None:
    problem, _ = asked("alder-06")
    nail = load_protocol().device(NAIL)
    ages, amounts = np.array([6.0, 9.99, 10.0, 14.0]), np.array([15.0, 20.0, 80.0, 85.0])
    found = usable(problem, nail, ages, amounts)
    assert not found[:2].any()
    assert found[2:].tolist() == [[False, True, True, False]] * 2


def test_a_tibial_nail_waits_until_the_bone_hardly_grows() -> None:
    problem, _ = asked("birch-04")
    nail = load_protocol().device("tibial_internal_nail")
    found = usable(problem, nail, np.arange(10.0, 18.0, 0.25), np.array([40.0]))[:, 0]
    assert not found[:8].any()
    assert found[-1]
    assert (np.diff(found.astype(int)) >= 0).all()


def test_devices_that_are_only_offered_are_never_open_to_the_choice() -> None:
    problem, _ = asked("elder-15")
    assert [device.id for device in open_devices(problem, "femur")] == ["femoral_frame_then_rod", NAIL]
