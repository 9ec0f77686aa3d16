"""What plans state beside lives lived by their policies; `.ci/simulate/stated.py` does it for thousands of lives."""

from __future__ import annotations

from pathway.protocol.load import load_protocol
from tests.courses.stated import CHANCES, MEASURES, stated_child

SEED, LIVES = 7, 2


def test_children_live_alike_again_and_within_every_hard_limit() -> None:
    protocol = load_protocol()
    numbers = (0, 3)
    children = [child for number in numbers if (child := stated_child(protocol, SEED, number, LIVES)) is not None]
    assert len(children) == len(numbers)
    for child in children:
        assert child.breaches == ()
        assert set(child.stated) == set(MEASURES)
        assert all(0 <= child.stated[name] <= 1 for name in CHANCES)
        assert all(set(life) == set(MEASURES) for life in child.lived)
    assert stated_child(protocol, SEED, numbers[1], LIVES) == children[1]
