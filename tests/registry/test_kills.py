"""Whatever step is killed at any moment: it was done or it was not, and nothing of it is left behind."""

from __future__ import annotations

import os

import pytest

from tests.registry.killed import STEPS
from tests.registry.test_processes import run

KILLS = 5
"""Of each step; `.ci/registry/kills.py` kills many more."""

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork: no test with processes")


@pytest.mark.parametrize("what", STEPS)
def test_a_step_that_is_killed_was_done_or_not_and_leaves_nothing_behind(what, tmp_path) -> None:
    found = run("killed", tmp_path, KILLS, 5, what)[what]
    assert found["killed"] == KILLS
    assert found["in the middle"] > 0, "some are killed before they have ended"
    assert found["wrong"] == []
