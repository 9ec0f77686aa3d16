"""What the tests of pictures, verbs and screens need of children, each read and planned once a run."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest

from pathway.plan.make import make_plan
from pathway.plan.model import Plan
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from tests.examples import FILES
from tests.examples import ON as DAY
from tests.examples import example as record
from tests.examples import example_plan as plan

__all__ = ["DAY", "files", "made_once", "plan", "plan_once", "record", "rules"]


@cache
def files() -> dict[str, str]:
    return {path.stem: path.read_text(encoding="utf-8") for path in FILES}


@cache
def rules() -> Protocol:
    return load_protocol()


_MADE: dict[object, tuple[Protocol, Plan]] = {}
"""Plans by question, with its rules: so that no others ever stand at the same place in memory."""


def made_once(question: Question, **options: Any) -> Plan:
    """Return what `make_plan` returns, made once for each record, set of rules, day and options."""
    key = (question.record.model_dump_json(), id(question.protocol), question.on, *sorted(options.items()))
    if key not in _MADE:
        _MADE[key] = question.protocol, make_plan(question, **options)
    return _MADE[key][1]


PLANNERS = (
    "pathway.plan.make",
    "pathway.questions.followup",
    "pathway.questions.sensitivity",
    "pathway.questions.what_if",
    "pathway.registry.planning",
)
"""Where verbs and screens have their plans from."""


def plan_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have verbs and screens plan each question once a run: what they show of a plan is tested, not its making."""
    for module in PLANNERS:
        monkeypatch.setattr(f"{module}.make_plan", made_once)
