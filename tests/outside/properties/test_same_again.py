"""The same input gives the same plan, byte for byte, and making a plan changes nothing that went in."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from pathway.plan.make import make_plan
from pathway.protocol.load import load_protocol, read_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from tests.examples import NAMES, ON, example, example_plan

ROOT = Path(__file__).parents[3]
KINDS = (
    "findings",
    "methods",
    "diagnoses",
    "classifications",
    "stages",
    "indications",
    "gates",
    "contraindications",
    "intervals",
    "age_windows",
    "amount_limits",
    "values",
    "cautions",
    "stop_rules",
    "sources",
    "tables",
)
LISTED_IN_RULE_ORDER = frozenset(
    {
        "because",
        "gates",
        "after",
        "stop_rules",
        "amount_limits",
        "cautions",
        "sources",
        "physes",
        "methods",
        "considered",
        "classification",
    }
)
"""Lists of the plan whose order is that of the rule files: what they say must not change, their order may."""

TO_MEASURE = "To measure: "

FRESH = """
import sys, datetime
from pathlib import Path
from pathway.casefile import read_case
from pathway.plan.make import make_plan
from pathway.protocol.question import Question
from pathway.protocol.load import load_protocol
path, on = Path(sys.argv[1]), datetime.date.fromisoformat(sys.argv[2])
protocol = load_protocol()
record = read_case(path.read_text(encoding="utf-8"), path.name, protocol)
sys.stdout.write(make_plan(Question(record, protocol, on)).model_dump_json())
"""


@pytest.mark.parametrize("name", NAMES)
def test_the_same_input_gives_the_same_bytes_and_is_unchanged(name) -> None:
    record, protocol = example(name), read_protocol(ROOT / "rules")
    before = record.model_dump_json(), protocol.model_dump_json()
    again = make_plan(Question(record, protocol, ON))
    assert again.model_dump_json() == example_plan(name).model_dump_json()
    assert (record.model_dump_json(), protocol.model_dump_json()) == before


@pytest.mark.parametrize(("name", "hash_seed"), [(NAMES[0], "1"), (NAMES[-1], "4711"), (NAMES[len(NAMES) // 2], "77")])
def test_another_process_with_another_order_of_sets_gives_the_same_bytes(name, hash_seed) -> None:
    done = subprocess.run(
        [sys.executable, "-c", FRESH, str(ROOT / "example_patients" / f"{name}.toml"), ON.isoformat()],
        cwd=ROOT,
        env={**os.environ, "PYTHONHASHSEED": hash_seed, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout == example_plan(name).model_dump_json()


def shuffled(protocol: Protocol, seed: int) -> Protocol:
    """Return the protocol with the rules of every kind in another order."""
    rng = np.random.default_rng(seed)

    def other_order(items: tuple) -> tuple:
        return tuple(items[k] for k in rng.permutation(len(items)))

    return Protocol(**{**dict(protocol), **{kind: other_order(getattr(protocol, kind)) for kind in KINDS}})


def without_order(value: object, key: str = "") -> object:
    """Return plan data with the lists that follow the rule files sorted."""
    if isinstance(value, dict):
        return {name: without_order(part, name) for name, part in value.items()}
    if isinstance(value, list | tuple):
        parts = [without_order(part) for part in value]
        return sorted(parts, key=repr) if key in LISTED_IN_RULE_ORDER else parts
    if key == "text" and isinstance(value, str) and value.startswith(TO_MEASURE):
        return sorted(value.removeprefix(TO_MEASURE).rstrip(".").split("; "))
    return value


@pytest.mark.parametrize("name", NAMES)
def test_the_order_of_rules_does_not_change_a_plan(name) -> None:
    protocol = shuffled(load_protocol(), NAMES.index(name))
    assert protocol != load_protocol()
    plan = make_plan(Question(example(name), protocol, ON))
    assert without_order(plan.model_dump(mode="json")) == without_order(example_plan(name).model_dump(mode="json"))
