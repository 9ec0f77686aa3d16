"""The family view and the family's document are worded apart: the facts in both are the same."""

from __future__ import annotations

import re

import pytest

from pathway.views.documents.handout import handout
from pathway.views.words.family import MONTHS, family_parts, family_text
from pathway.views.words.wording import wording
from tests.plans import files, plan, rules


def both(child: str) -> tuple[str, str]:
    return " ".join(family_text(plan(child)).split()), repr(handout(plan(child), wording(), rules()))


@pytest.mark.parametrize("child", files())
class TestTheFamilyReadsTheSame:
    def test_difference_now_and_when_grown_up(self, child) -> None:
        growth = plan(child).growth
        for text in both(child):
            if growth.measured:
                apart = "apart" if plan(child).child.affected_side == "both" else "shorter than the other"
                assert f"{growth.measured[-1].discrepancy_mm / 10:.1f} cm {apart}" in text
            if growth.at_maturity is not None:
                assert f"{growth.at_maturity.discrepancy_mm.p50 / 10:.1f} cm" in text

    def test_number_of_operations(self, child) -> None:
        counts = [set(re.findall(r"(?:takes|plan has) (\w+) operations?\b", text)) for text in both(child)]
        best = plan(child).recommended
        # On the prosthetic road the family is told its steps, not a number of operations for length.
        if best is not None and not best.id.startswith("prosthetic") and counts[1]:
            assert counts[0] == counts[1]

    def test_month_and_length_of_every_lengthening(self, child) -> None:
        for stage in plan(child).stages:
            if stage.kind.endswith("_lengthening") and stage.date and stage.amount_mm and stage.status != "done":
                for text in both(child):
                    assert f"{MONTHS[stage.date.month - 1]} {stage.date.year}" in text
                    assert f"{stage.amount_mm / 10:.1f} cm" in text

    def test_what_each_step_is(self, child) -> None:
        """Each step is told by the same words, which stand with the stage in the rules."""
        seen, document = both(child)
        for stage in plan(child).stages:
            if stage.operation and stage.date is not None and stage.status in ("ready", "later"):
                words = stage.family_words.rstrip(".")[1:]
                assert words in seen
                assert words in document


@pytest.mark.parametrize("child", files())
def test_no_two_parts_have_the_same_heading(child) -> None:
    headings = [part.heading for part in family_parts(plan(child))]
    assert len(set(headings)) == len(headings)
