"""Old payloads are upgraded in memory, step by step; a payload of a later program is told."""

from __future__ import annotations

import pytest

from pathway.registry.journal.payloads import PAYLOAD_VERSION, UPGRADES, UnreadablePayload, upgraded


def test_every_version_before_this_one_has_its_step() -> None:
    assert sorted(UPGRADES) == list(range(1, PAYLOAD_VERSION))


def test_an_old_payload_goes_through_every_step_and_is_not_touched() -> None:
    steps = {
        1: lambda data: {"length_mm": data["length_cm"] * 10},
        2: lambda data: {"femur_length_mm": data["length_mm"]},
    }
    old = {"length_cm": 18}
    assert upgraded(old, 1, steps, 3) == {"femur_length_mm": 180}
    assert upgraded({"length_mm": 180}, 2, steps, 3) == {"femur_length_mm": 180}
    assert old == {"length_cm": 18}


@pytest.mark.parametrize("version", [0, PAYLOAD_VERSION + 1])
def test_a_version_that_nobody_knows_is_told(version) -> None:
    with pytest.raises(UnreadablePayload, match=f"version {version}, this program reads 1 to {PAYLOAD_VERSION}"):
        upgraded({}, version)
