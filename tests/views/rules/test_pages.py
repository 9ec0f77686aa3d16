"""Rules as pages: every rule has words, and what is from memory, local or used elsewhere is said."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from pathway.problems import Refused
from pathway.protocol.load import load_protocol, read_overlay, with_overlay
from pathway.protocol.overlay import differences
from pathway.protocol.references import entries, users
from pathway.views.rules.catalogue import catalogue
from pathway.views.rules.overlay_sheet import sheet_data, sheet_text
from pathway.views.rules.pages import all_kinds, list_data, list_text, page_data, page_on_screen, page_text
from pathway.views.rules.words import origin_words, statement
from tests.offenders import for_each

PROTOCOL = load_protocol()
ENTRIES = list(entries(PROTOCOL))
NAMED = users(PROTOCOL)
HIP = "femoral_lengthening.hip_covered"
OVERLAY = f"""
name = "hill clinic"
[[gate]]
id = "{HIP}"
requires = {{ finding = "center_edge_angle_deg", above = 22 }}
because = "Two of our hips slid at 21 deg."
provenance = "judgement"
sources = ["own_judgement"]
[[gate]]
id = "femoral_lengthening.therapy_ready"
off = true
because = "Therapy is arranged before referral."
[[interval]]
id = "clinic.rest"
earlier = "hip_preparation.start"
later = "knee_preparation.start"
at_least_months = 1
because = "The family rests in between."
provenance = "judgement"
sources = ["own_judgement"]
"""


@pytest.fixture
def laid(tmp_path: Path):
    (tmp_path / "own.toml").write_text(OVERLAY, encoding="utf-8")
    overlay = read_overlay(tmp_path)
    theirs = with_overlay(PROTOCOL, overlay)
    return theirs, differences(PROTOCOL, theirs, overlay)


@for_each(ENTRIES, name=lambda kind, entry: f"{kind} {entry.id}")
def test_every_entry_says_what_it_is_in_words(kind, entry) -> None:
    said = statement(entry, PROTOCOL)
    assert said.endswith((".", "!", "?", ")"))
    assert len(said.split()) >= 2
    assert "None" not in said
    assert not re.search(r"Condition\(|\{|Frozen", said)


@for_each(ENTRIES, name=lambda kind, entry: f"{kind} {entry.id}")
def test_every_page_fits_and_names_its_sources(kind, entry) -> None:
    page = page_text(PROTOCOL, entry.id, 80, NAMED)
    assert page.startswith(f"{entry.id}: ")
    assert max(len(line) for line in page.splitlines() if "http" not in line) <= 80
    flat = re.sub(r"\s+", " ", page)
    for source in getattr(entry, "sources", ()):
        assert re.sub(r"\s+", " ", PROTOCOL.source(source).citation)[:60] in flat


def numbers_of(condition) -> list[float]:
    leaves = condition.leaves()
    bounds = [bound for leaf in leaves for bound in (leaf.at_least, leaf.above, leaf.at_most, leaf.below)]
    return [bound for bound in bounds if bound is not None]


@for_each(PROTOCOL.gates)
def test_every_threshold_of_a_gate_stands_in_its_words(gate) -> None:
    said = statement(gate, PROTOCOL)
    for number in numbers_of(gate.requires):
        assert f"{number:g}" in said
    assert PROTOCOL.stage(gate.guards).label.lower() in said


@for_each(PROTOCOL.intervals)
def test_every_interval_names_both_stages_and_its_months(rule) -> None:
    said = statement(rule, PROTOCOL).lower()
    assert PROTOCOL.stage(rule.later_stage).label.lower() in said
    for months in (rule.at_least_months, rule.at_most_months):
        if months:
            assert f"{months} month" in said


class TestOneKindOfEach:
    """The words of some rules, read against their data."""

    @pytest.mark.parametrize(
        ("id", "said"),
        [
            (HIP, "Before femoral lengthening: centre-edge angle more than 20 deg."),
            (HIP, "If not met, it is corrected by hip preparation."),
            ("hip_preparation.no_infection", "Cannot be waived."),
            ("hip_preparation.before_lengthening", "at least 12 months after the start of hip preparation"),
            ("femoral_lengthening.not_before_three", "starts from 3 y; this is binding."),
            ("femoral_lengthening.share_30", "at most 30 % of the bone at once"),
            ("femoral_lengthening.share_20", "Shown as a warning, not enforced."),
            ("goal_band_mm", "goal band mm: 10 mm."),
            ("femoral_lengthening.small_difference", "may be done once growth has ended when"),
            ("femoral_lengthening.large_difference", "with a chance of at least 50 of 100"),
            ("femoral_lengthening.stiff_knee", "is outside the protocol when arc of knee motion less than 40 deg"),
            ("femoral_mobile_hip_1998.3c", "Type 3c of femoral mobile hip 1998"),
            ("center_edge_angle_deg", "from -60 to 60 deg, error ±4 deg; valid for 12 months."),
        ],
    )
    def test_words(self, id, said) -> None:
        (entry,) = [entry for _, entry in ENTRIES if entry.id == id]
        assert said in statement(entry, PROTOCOL)


class TestPages:
    """What a page says beside the statement."""

    def test_memory_cannot_be_overlooked(self) -> None:
        for _, entry in ENTRIES:
            if getattr(entry, "provenance", "") == "memory":
                assert "FROM MEMORY" in page_text(PROTOCOL, entry.id, 300, NAMED)
            elif hasattr(entry, "provenance") and not entry.note:
                assert "FROM MEMORY" not in origin_words(entry, PROTOCOL)

    def test_what_names_a_finding_is_listed(self) -> None:
        used = page_data(PROTOCOL, "center_edge_angle_deg")["entries"][0]["used_by"]
        assert {HIP, "hip_preparation.shallow_or_tight", "hip_preparation"} <= set(used)
        assert "Referred to by" in page_text(PROTOCOL, "center_edge_angle_deg")

    def test_what_names_a_stage_is_listed(self) -> None:
        used = set(page_data(PROTOCOL, "hip_preparation")["entries"][0]["used_by"])
        assert {HIP, "hip_preparation.before_lengthening", "caution.hip_evidence"} <= used

    def test_an_unknown_rule_is_told_with_those_near_it(self) -> None:
        with pytest.raises(Refused, match=r"similar ones are .*femoral_lengthening\.hip_covered"):
            page_text(PROTOCOL, "femoral_lengthening.hip_coverd")

    def test_a_kind_may_be_said_in_the_singular_and_with_spaces(self) -> None:
        for said in ("age window", "age_windows", "Age-Windows", "age_window"):
            assert list_text(PROTOCOL, said) == list_text(PROTOCOL, "age_windows")

    def test_an_unknown_kind_is_told_with_those_there_are(self) -> None:
        with pytest.raises(Refused, match=r"there are .*gates"):
            list_text(PROTOCOL, "doors")

    def test_the_list_holds_every_entry_once(self) -> None:
        listed = [(rule["kind"], rule["id"]) for rule in list_data(PROTOCOL)["rules"]]
        assert sorted(listed) == sorted((kind, entry.id) for kind, entry in ENTRIES)
        assert {kind for kind, _ in listed} <= set(all_kinds())


class TestLocal:
    """The clinic's own rules are marked wherever a rule is read."""

    def test_on_the_page_and_in_the_list(self, laid) -> None:
        theirs, _ = laid
        assert page_text(theirs, HIP).startswith(f"{HIP}: gate (local)")
        assert "[local; our own judgement" in list_text(theirs, "intervals", 200)
        assert "Switched off locally" in list_text(theirs)
        assert "local" not in page_text(PROTOCOL, HIP)

    def test_the_review_sheet_shows_ours_theirs_sources_and_reason(self, laid) -> None:
        theirs, found = laid
        sheet = re.sub(r"\s+", " ", sheet_text(PROTOCOL, theirs, found, 100))
        assert "3 rules: 1 changed, 1 added, 1 switched off" in sheet
        assert f"CHANGED {HIP} (gate; own.toml)" in sheet
        assert "ours Before femoral lengthening: centre-edge angle more than 20 deg." in sheet
        assert "theirs Before femoral lengthening: centre-edge angle more than 22 deg." in sheet
        assert "Suzuki S et al." in sheet
        assert "reason Two of our hips slid at 21 deg." in sheet
        assert "SWITCHED OFF femoral_lengthening.therapy_ready" in sheet
        assert "reason Therapy is arranged before referral." in sheet

    def test_the_same_as_data(self, laid) -> None:
        theirs, found = laid
        data = sheet_data(PROTOCOL, theirs, found)
        changed, off, added = data["differences"]
        assert (changed["what"], added["what"], off["what"]) == ("changed", "added", "switched off")
        assert {"name": "requires", "ours": "centre-edge angle more than 20 deg"}.items() <= next(
            field for field in changed["fields"] if field["name"] == "requires"
        ).items()
        assert added["ours"] is None
        assert off["theirs"] is None


class TestCatalogue:
    """rules/CATALOGUE.md is made from the rules and in step with them."""

    FILE = Path(__file__).parents[3] / "rules" / "CATALOGUE.md"

    def test_it_is_in_step(self) -> None:
        assert self.FILE.read_text(encoding="utf-8") == catalogue(PROTOCOL), "run python .ci/catalogue.py"

    def test_it_holds_every_entry_with_its_sources(self) -> None:
        text = catalogue(PROTOCOL)
        for _, entry in ENTRIES:
            assert f"\n- `{entry.id}`: " in text
            for source in getattr(entry, "sources", ()):
                assert f"\n- `{source}`: " in text

    def test_its_counts_are_those_of_the_rules(self) -> None:
        memory = sum(gate.provenance == "memory" for gate in PROTOCOL.gates)
        own = sum(gate.provenance == "judgement" for gate in PROTOCOL.gates)
        assert f"| [Gates](#gates) | {len(PROTOCOL.gates)} | {memory} | {own} |" in catalogue(PROTOCOL)


def test_a_screen_is_told_the_same_page_in_words_without_ids() -> None:
    page = page_on_screen(PROTOCOL, "nsa_observers", NAMED)
    assert page[0] == "Source"
    ids = {"nsa_observers", *NAMED["nsa_observers"]}
    assert [line for line in page if any(id in line for id in ids)] == []
    at = page.index("Referred to by")
    assert any("Different observers differ by up to 6 deg" in line for line in page[at:])
    assert any("neck-shaft angle" in line for line in page[at:])
