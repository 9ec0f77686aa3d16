"""Words about risk: what a family reads, and what nobody may write."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from pathway.protocol.harm import OUTCOMES
from pathway.protocol.load import load_protocol
from pathway.risk.rates import rate
from pathway.risk.steps import Step
from pathway.risk.words import family_words, of_hundred

ROOT = Path(__file__).parents[2]
PROTOCOL = load_protocol()
STEP = Step("femur", 40, 15, 8, hip_cover="good")
FILES = sorted(
    path
    for folder in ("rules/harms", "pathway/risk", ".ci/risk")
    for path in (ROOT / folder).rglob("*")
    if path.suffix in (".toml", ".py")
)
PRAISE = re.compile(
    r"\b(lower|less|smaller|reduced?|reduces|reducing|fewer|minimal|decreased?)[\s-]+risks?\b"
    r"|\brisks?\s+(is|are|becomes?)\s+(lower|less|smaller|reduced)\b"
    r"|\b(safer|safest|less\s+(risky|dangerous|harmful)|gentler|kinder|milder|risk-free)\b",
    re.IGNORECASE,
)
SPLIT = re.compile(
    r"\bsplit|\b(two|three|several|more)\s+(small|smaller|moderate|shorter)\s+(steps?|lengthenings?|amounts?)\b"
    r"|\bsmaller\s+(steps?|lengthenings?|amounts?)\b|\bin\s+(two|several)\s+steps\b|\bstaged\b",
    re.IGNORECASE,
)
BETTER = re.compile(r"\b(fewer|less|lower|better|safe|spares?|avoids?|protects?)\b", re.IGNORECASE)


def sentences(text: str) -> list[str]:
    """Return the sentences of a file, lines joined, cut at full stops, quotation marks and tables."""
    return re.split(r"[.;:!?\"]\s|\n\s*\n|\[\[", " ".join(re.sub(r"\n[ \t]*#?[ \t]*", " ", text).split(" ")))


def praises(text: str) -> list[str]:
    return [said for said in sentences(text) if PRAISE.search(said) or (SPLIT.search(said) and BETTER.search(said))]


def test_no_text_says_that_a_split_or_anything_else_is_a_lower_risk() -> None:
    assert FILES
    assert {path.name: praises(path.read_text(encoding="utf-8")) for path in FILES} == {path.name: [] for path in FILES}


@pytest.mark.parametrize(
    "said",
    [
        "A split plan has a lower risk.",
        "Two smaller lengthenings are safer.",
        "Two smaller steps bring fewer fractures.",
        "The risk is lower in two steps",
        "two moderate lengthenings,\n# with less trouble",
        "Each of the smaller steps is milder.",
    ],
)
def test_the_search_finds_such_words(said: str) -> None:
    assert praises(f'because = "{said}"')


def test_a_family_reads_whole_numbers_of_a_hundred_with_their_range() -> None:
    for outcome in OUTCOMES:
        for steps in (STEP, (STEP, replace(STEP, age_years=11))):
            found = rate(PROTOCOL, outcome, steps)
            said = family_words(found, "femur")
            if not found.shown:
                assert said.endswith("how often is not known.")
                assert not re.search(r"\d", said)
                continue
            numbers = [int(text) for text in re.findall(r"\d+", said)]
            assert numbers[0] == 100
            often, least, most = numbers[1:]
            assert 0 <= least <= often <= most <= 100
            assert not re.search(r"\d[.,]\d|\brare|1 in |%", said)


def test_a_hundred_events_are_not_a_hundred_children() -> None:
    # 49 per 100 are 39 children of 100: 1 - exp(-0.49) = 0.387 (any table of exponentials).
    assert of_hundred(49) == 39
    assert of_hundred(0) == 0
    assert of_hundred(1000) == 100


def test_what_is_not_told_says_why() -> None:
    said = family_words(rate(PROTOCOL, "fracture", replace(STEP, percent=40)), "femur")
    assert said.startswith("How often the new bone broke or bent cannot be told here: published counts reach")
    hip = family_words(rate(PROTOCOL, "hip", replace(STEP, hip_cover="unknown")), "femur")
    assert "has not been measured" in hip
