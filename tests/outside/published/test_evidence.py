"""Rules say no more than their sources: each that cites a source of the table of evidence is held against its rows.

The rows are the program's; the counts and limits beside them are entered here a second time as they are printed, and
limits are computed anew.
"""

from __future__ import annotations

import re
from typing import Any

import pytest
from scipy.stats import beta

from pathway.protocol.load import load_protocol
from pathway.protocol.model import Evidence, Rule
from pathway.protocol.traced import faults_of_evidence
from pathway.views.rules.catalogue import catalogue
from pathway.views.rules.pages import page_text
from tests.offenders import for_each

PROTOCOL = load_protocol()
ROWS = {row.id: row for row in PROTOCOL.evidence}
HELD = {source for row in PROTOCOL.evidence for source in row.sources}
RULES = [rule for rule in PROTOCOL.rules() if set(rule.sources) & HELD]
PRINTED = {
    # Source (abstract): the population as printed, how direct it is, what it counts.
    "suzuki_1994": ("far", "18 patients", "mean age 13", "0 of 14", "5 of 12"),
    "salvage_series_cfd": ("direct", "17 children", "11 hips"),
    "yun_2000": ("near", "35 segments", "1.3 obstacles", "0.9 complications", "55 %"),
    "bowen_2001": ("direct", "44 children", "18 of type IIIA"),
    "children_2024_hip": ("direct", "33 children", "6 of 33", "637 days"),
    "journeau_2016": ("near", "150 children", "30 %"),
    "devmurari_2010": ("far", "28 femora", "achondroplasia"),
    "knee_contracture_series": ("near", "35 patients", "40 deg"),
    "paley_1998_text": ("opinion", "1998"),
    "jeong_2006": ("direct", "18 of 23", "7 of 9"),
    "song_1997": ("near", "35 children", "5.5 %"),
    "dora_2004": ("near", "14 hips", "13 patients"),
}


def text_of(row: Evidence) -> str:
    return f"{row.quantity} {row.found} {row.population} {row.counts}"


def rows_of(rule: Rule) -> list[Evidence]:
    return [ROWS[name] for name in rule.evidence]


def numbers_in(text: str) -> set[str]:
    return set(re.findall(r"\d+(?:\.\d+)?", text))


@for_each(sorted(PRINTED))
def test_the_rows_of_a_source_say_what_is_printed(source: str) -> None:
    directness, *said = PRINTED[source]
    rows = [row for row in PROTOCOL.evidence if source in row.sources]
    assert {row.directness for row in rows} == {directness}
    text = " ".join(map(text_of, rows))
    assert [words for words in said if words not in text] == []


@for_each(RULES)
def test_a_rule_names_a_row_of_each_source_that_has_one(rule: Rule) -> None:
    named = {source for row in rows_of(rule) for source in row.sources}
    assert set(rule.sources) & HELD <= named


@for_each(RULES)
def test_far_near_and_uncounted_evidence_says_how_indirect_it_is(rule: Rule) -> None:
    if any(row.directness != "direct" for row in rows_of(rule)):
        assert len(rule.indirect.split()) >= 5


@for_each([rule for rule in RULES if rule.provenance == "read" and set(rule.sources) <= HELD])
def test_what_a_rule_quotes_stands_in_its_rows(rule: Rule) -> None:
    rows = " ".join(map(text_of, rows_of(rule)))
    # What the rule itself asks for is its own; lengths may be said in cm, months in years.
    known = {float(number) for number in numbers_in(rows)} | own_numbers(rule)
    known |= {number / 10 for number in known} | {number / 12 for number in own_numbers(rule)}
    quoted = numbers_in(f"{rule.because} {rule.indirect}")
    assert sorted(number for number in quoted if float(number) not in known) == []


def own_numbers(rule: Rule) -> set[float]:
    return {float(number) for number in numbers_in(str(rule.model_dump(exclude={"because", "indirect", "note", "id"})))}


@pytest.mark.parametrize(
    ("row", "n", "of", "low", "high"),
    [
        ("hip.cover_20", 0, 14, None, 23),
        ("hip.late_instability", 6, 33, 7, 35),
        ("hip.more_length", 7, 39, 8, 34),
        ("knee.span", 0, 5, None, 52),
    ],
)
def test_limits_of_small_counts(row: str, n: int, of: int, low: int | None, high: int) -> None:
    # Exact limits of a share, 95 of 100 (Clopper and Pearson 1934), by a library.
    upper = 100 * beta.ppf(0.975, n + 1, of - n)
    assert upper == pytest.approx(high, abs=1)
    assert f"{n} of {of}" in text_of(ROWS[row])
    if low is not None:
        assert 100 * beta.ppf(0.025, n, of - n + 1) == pytest.approx(low, abs=1)
    if n == 0:
        assert f"{high}" in ROWS[row].counts


OVERSTATED = (
    ("yun_2000", "increase"),
    ("yun_2000", "rise"),
    ("salvage_series_cfd", "from 45 mm onwards"),
    ("devmurari_2010", "fractures more often"),
    ("devmurari_2010", "fractured more often"),
)


@for_each(OVERSTATED)
def test_nothing_is_said_that_the_source_did_not_compare(source: str, words: str) -> None:
    assert [rule.id for rule in PROTOCOL.rules() if source in rule.sources and words in rule.because] == []


def test_advice_for_one_class_says_so() -> None:
    for rule in PROTOCOL.rules():
        if {"hip.index_25", "hip.neck_120"} & set(rule.evidence):
            assert "IIIA" in rule.indirect, rule.id


def test_pages_and_catalogue_show_how_indirect_a_rule_is() -> None:
    (rule,) = (gate for gate in PROTOCOL.gates if gate.id == "femoral_lengthening.hip_covered")
    words = f"How indirect: {rule.indirect}"
    assert words in page_text(PROTOCOL, rule.id, 2000)
    assert words in catalogue(PROTOCOL)


def changed(rule: str, **new: Any):
    gates = tuple(gate.model_copy(update=new) if gate.id == rule else gate for gate in PROTOCOL.gates)
    return PROTOCOL.model_copy(update={"gates": gates})


def test_far_evidence_without_a_word_is_a_fault() -> None:
    assert list(faults_of_evidence(PROTOCOL)) == []
    (fault,) = faults_of_evidence(changed("femoral_lengthening.hip_covered", evidence=("hip.cover_20",), indirect=""))
    assert fault[0] == "femoral_lengthening.hip_covered"
    assert "far evidence (hip.cover_20)" in fault[1]


def test_a_row_of_another_source_or_of_none_is_a_fault() -> None:
    faults = [
        found
        for name in ("hip.socket_shape", "hip.nothing")
        for _, found, _ in faults_of_evidence(changed("femoral_lengthening.socket_level", evidence=(name,)))
    ]
    assert "does not cite" in faults[0]
    assert "'hip.nothing'" in faults[1]
