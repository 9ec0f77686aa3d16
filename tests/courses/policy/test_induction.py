"""The value of a policy is exact: it equals every history walked through."""

from __future__ import annotations

import pytest

from pathway.courses.policy.induction import solve
from tests.courses.policy.by_hand import ByHand
from tests.courses.policy.programmes import random_programme


@pytest.mark.parametrize("seed", range(20))
def test_every_state(seed: int) -> None:
    given = random_programme(seed)
    assert solve(given).value == pytest.approx(ByHand(given).value(), rel=1e-9, abs=1e-9)
