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


def test_years_in_which_an_orthosis_is_asked_for_name_it_and_others_do_not() -> None:
    assert _aids([80.0, 120.0], rules()) == "below 10 cm: orthosis with built-up foot"
    assert _aids([110.0, 120.0], rules()) == ""
