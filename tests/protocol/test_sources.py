"""Every source can be found or says why not; what was read only on pages or second hand says so."""

from __future__ import annotations

import pytest

from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol, Source
from pathway.protocol.prove import prove
from pathway.protocol.traced import faults_of_traces, resting_words
from pathway.views.rules.words import origin_words
from tests.offenders import for_each

PROTOCOL = load_protocol()
SOURCES = {source.id: source for source in PROTOCOL.sources}


def with_source(**new: object) -> Protocol:
    changed = SOURCES["yun_2000"].model_copy(update=new)
    return PROTOCOL.model_copy(
        update={"sources": tuple(changed if source.id == changed.id else source for source in PROTOCOL.sources)}
    )


@for_each(PROTOCOL.sources)
def test_a_source_is_found_or_says_why_not(source: Source) -> None:
    assert source.found_at.startswith(("https://", "http://")) or source.never_seen or len(source.no_address) > 15


@for_each(PROTOCOL.sources)
def test_a_source_says_what_was_seen_of_it(source: Source) -> None:
    assert len(source.seen) >= 4


def test_every_file_of_rules_is_traced() -> None:
    assert list(faults_of_traces(PROTOCOL)) == []


@pytest.mark.parametrize(
    ("new", "found"),
    [
        ({"address": "", "doi": "", "pmid": ""}, "no way to find the source yun_2000"),
        ({"doi": "doi:10.1000/1"}, "the DOI 'doi:10.1000/1' of the source yun_2000"),
        ({"doi": "https://doi.org/10.1000/1"}, "the DOI 'https://doi.org/10.1000/1' of the source yun_2000"),
        ({"doi": "10.1/2"}, "the DOI '10.1/2' of the source yun_2000"),
        ({"doi": "10.1000/1 2"}, "the DOI '10.1000/1 2' of the source yun_2000"),
        ({"doi": "10.1000/"}, "the DOI '10.1000/' of the source yun_2000"),
        ({"pmid": "123456789"}, "the PubMed number '123456789' of the source yun_2000"),
        ({"pmid": "٣"}, "the PubMed number '٣' of the source yun_2000"),
        ({"address": "https://a.org (a page)"}, "the address 'https://a.org (a page)' of the source yun_2000"),
        ({"pmid": "PMID 1"}, "the PubMed number 'PMID 1' of the source yun_2000"),
    ],
)
def test_a_source_that_cannot_be_found_is_named_by_rules_check(new: dict[str, str], found: str) -> None:
    told = [problem for problem in prove(with_source(**new)) if problem.found == found]
    assert len(told) == 1
    assert "rule yun_2000" in str(told[0])


@pytest.mark.parametrize(
    "new",
    [
        {"address": "", "doi": "10.1000/1"},
        {"address": "", "pmid": "1"},
        {"address": "", "no_address": "the address was not kept"},
        {"address": "", "seen": "not seen: from memory"},
    ],
)
def test_one_way_to_find_it_or_the_reason_is_enough(new: dict[str, str]) -> None:
    assert list(faults_of_traces(with_source(**new))) == []


def test_the_address_comes_before_doi_and_pubmed_number() -> None:
    source = Source(id="a", citation="A", address="https://a.org", doi="10.1/2", pmid="3")
    assert source.found_at == "https://a.org"
    assert source.model_copy(update={"address": ""}).found_at == "https://doi.org/10.1/2"
    assert source.model_copy(update={"address": "", "doi": ""}).found_at == "https://pubmed.ncbi.nlm.nih.gov/3/"


def test_nothing_is_said_to_be_read_that_has_no_source() -> None:
    gate = next(gate for gate in PROTOCOL.gates if gate.provenance == "read")
    bare = gate.model_copy(update={"sources": ("common_practice",)})
    changed = PROTOCOL.model_copy(update={"gates": (bare,)})
    assert [rule for rule, found, _ in faults_of_traces(changed) if "without a source that was read" in found] == [
        gate.id
    ]


SECOND_HAND = ("caution.centre_report",)
ONLY_NOTES = ("tibial_lengthening.no_tibia", "knee_disarticulation.first_year", "prosthesis_refit.on_the_road")


def test_what_rests_on_a_quotation_or_on_notes_says_so() -> None:
    rules = {rule.id: rule for rule in PROTOCOL.rules()}
    for id in SECOND_HAND:
        assert resting_words(rules[id], PROTOCOL) == "quoted second hand"
    for id in ONLY_NOTES:
        assert resting_words(rules[id], PROTOCOL) == "only on a page, no publication"
        assert "(only on a page, no publication)" in origin_words(rules[id], PROTOCOL)
    assert resting_words(rules["femoral_lengthening.hip_covered"], PROTOCOL) == ""
