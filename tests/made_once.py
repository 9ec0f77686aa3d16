"""Plans that many tests look at, each made once a run: also where several workers share the tests of one run."""

from __future__ import annotations

import hashlib
import os
import pickle
from pathlib import Path
from typing import Any

import pytest

from pathway.plan.make import make_plan
from pathway.plan.model import Plan
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question

SHARED = "LIMB_PATHWAY_TEST_PLANS"
"""The variable that names the folder of the plans of one run."""
_MADE: dict[str, Plan] = {}
_DIGESTS: dict[int, tuple[Protocol, str]] = {}
"""By place in memory; the rules are held, so that no others ever stand there."""

PLANNERS = (
    "pathway.plan.make",
    "pathway.questions.followup",
    "pathway.questions.sensitivity",
    "pathway.questions.what_if",
    "pathway.registry.planning",
)
"""Where verbs and screens have their plans from."""


def made_once(question: Question, **options: Any) -> Plan:
    """Return what `make_plan` returns; the same record, rules, day and options are planned once a run."""
    wanted = sorted({"seed": 0, "compared": True, **options}.items())
    asked = f"{question.record.model_dump_json()}{rules_of(question.protocol)}{question.on}{question.earlier}{wanted}"
    key = hashlib.sha256(asked.encode()).hexdigest()
    if key not in _MADE:
        _MADE[key] = _shared(key, question, options)
    return _MADE[key]


def plan_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have verbs and screens plan each question once a run: what they show of a plan is tested, not its making."""
    for module in PLANNERS:
        monkeypatch.setattr(f"{module}.make_plan", made_once)


def rules_of(protocol: Protocol) -> str:
    """Return what tells a set of rules from every other."""
    if id(protocol) not in _DIGESTS:
        _DIGESTS[id(protocol)] = protocol, hashlib.sha256(protocol.model_dump_json().encode()).hexdigest()
    return _DIGESTS[id(protocol)][1]


def _shared(key: str, question: Question, options: dict[str, Any]) -> Plan:
    file = Path(os.environ[SHARED]) / key
    if file.exists():
        made = pickle.loads(file.read_bytes())
        assert isinstance(made, Plan)
        return made
    made = make_plan(question, **options)
    beside = file.with_suffix(f".{os.getpid()}")
    beside.write_bytes(pickle.dumps(made))
    beside.replace(file)  # whole or not at all: another worker may look just now
    return made
