"""One table of units: whatever a finding, a value or a table is measured in can be asked for, shown and exchanged."""

from __future__ import annotations

from typing import get_args

from pathway.protocol.load import load_protocol
from pathway.protocol.units import UNITS, WITHOUT_UNIT, FindingUnit


def test_every_unit_that_a_finding_may_have_is_in_the_table() -> None:
    assert set(get_args(FindingUnit)) <= set(UNITS)


def test_the_shipped_findings_end_in_their_unit() -> None:
    named = {"mm": "_mm", "deg": "_deg", "years": "_years", "percent": ("percent", "percentage"), "ratio": "ratio"}
    strange = [
        rule.id for rule in load_protocol().findings if rule.unit in named and not rule.id.endswith(named[rule.unit])
    ]
    assert strange == []


def test_a_count_and_a_ratio_are_said_without_a_unit() -> None:
    assert set(WITHOUT_UNIT) == {"ratio", "count"}


def test_codes_are_those_of_the_standard() -> None:
    # The Unified Code for Units of Measure, version 2.1: mm, deg, a (year), mo (month), %, 1 (unity).
    assert {name: unit.code for name, unit in UNITS.items() if name} == {
        "mm": "mm", "deg": "deg", "years": "a", "months": "mo", "percent": "%", "ratio": "1", "count": "1",
        "kg": "kg",
    }  # fmt: skip
