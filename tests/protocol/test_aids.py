"""Which aid is wanted by the difference of the legs alone."""

from __future__ import annotations

from math import inf

from pathway.plan.assemble.firmness import _aids
from pathway.protocol.aids import aids_by_difference
from tests.plans import rules


def test_every_difference_from_a_lift_on_has_one_aid() -> None:
    aids = list(aids_by_difference(rules()))
    assert [low for _, low, _ in aids[1:]] == [below for _, _, below in aids[:-1]]
    assert aids[-1][2] == inf


def test_years_with_less_than_ten_cm_name_the_orthosis_and_years_with_more_both() -> None:
    assert _aids([80.0, 95.0], rules()) == "orthosis with built-up foot from 5 to 10 cm"
    assert _aids([80.0, 120.0], rules()).endswith("from 5 to 10 cm, extension prosthesis from 10 cm on")
