"""The upper femur with its ranges is to be there in under 20 ms: it is worked out anew at every stroke of a key."""

from __future__ import annotations

from pathway.upper_femur.model import ranges_of, solved
from tests.upper_femur.test_model import ERRORS, EXAMPLES, REACH, given


def test_numbers_and_their_ranges(benchmark):
    bone, plan = given(next(example for example in EXAMPLES if example["ranges"])["inputs"])

    def both():
        said = solved(bone, plan)
        assert said.settings is not None
        return ranges_of(bone, plan, said.settings, ERRORS, REACH)

    assert benchmark(both)["length_gain_mm"]
