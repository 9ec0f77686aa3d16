"""What verbs and documents show is tested here: each plan behind them is made once a run."""

from __future__ import annotations

import pytest

from tests.made_once import plan_once


@pytest.fixture(autouse=True)
def planned_once(monkeypatch: pytest.MonkeyPatch) -> None:
    plan_once(monkeypatch)
