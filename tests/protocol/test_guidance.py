"""Goals, follow-up, companions and disagreements: sourced, referenced, and refused where they point nowhere."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from pathway.problems import Refused
from pathway.protocol.load import load_protocol, read_protocol
from tests.offenders import for_each
from tests.protocol.rule_folder import Planted, plant

PROTOCOL = load_protocol()
COVER = "cover_limit"
GOAL = "hip_preparation.covered_22"
WATCH = "proximal_femoral_osteotomy.watch"
HIP_FILMS = "hip_surveillance.half_yearly"
WITH_FIBULA = "companion.fibular_deficiency"
QUIET = "femoral_head_socket_1969"


def planted(name: str, file: str, rule: str, old: str, new: str, says: str) -> Planted:
    return Planted(name, file, f'id = "{rule}"', old, new, rule, says)


FAULTS = (
    planted(
        "a side nobody published", "disagreements.toml", COVER, '"salvage_series_cfd"', '"nobody_1900"', "nobody_1900"
    ),
    planted(
        "a side that is not there",
        "disagreements.toml",
        COVER,
        'followed = "20 deg"',
        'followed = "19 deg"',
        "followed",
    ),
    planted("two equal sides", "disagreements.toml", COVER, '"22 deg"', '"20 deg"', "differ"),
    planted("a rule nobody wrote", "disagreements.toml", COVER, f'"{GOAL}"', '"hip_preparation.hope"', "hope"),
    planted("no rule at all", "disagreements.toml", "age_and_complications", "rules = [", "rules = [] #", "at least 1"),
    planted("a goal of no stage", "goals.toml", GOAL, '"hip_preparation"', '"hip_magic"', "hip_magic"),
    planted("a goal out of range", "goals.toml", GOAL, "at_least = 22", "at_least = 220", "220"),
    planted("a visit every no months", "follow_ups.toml", HIP_FILMS, "every_months = 6", "every_months = 0", "every 0"),
    planted("visits that end before they begin", "follow_ups.toml", HIP_FILMS, "= 36", "= 3", "until 3"),
    planted("a visit of no stage", "follow_ups.toml", HIP_FILMS, '"hip_surveillance"', '"hip_gossip"', "hip_gossip"),
    planted(
        "a visit for a finding that is none",
        "follow_ups.toml",
        WATCH,
        '"hilgenreiner_epi',
        '"hilgenreener_epi',
        "reener",
    ),
    planted("a companion of no diagnosis", "companions.toml", WITH_FIBULA, '"congenital_short_femur"', '"flu"', "flu"),
    planted(
        "a share above all",
        "companions.toml",
        WITH_FIBULA,
        "share_high_percent = 80",
        "share_high_percent = 180",
        "180",
    ),
    planted(
        "shares upside down", "companions.toml", WITH_FIBULA, "share_low_percent = 50", "share_low_percent = 90", "90"
    ),
)


@pytest.mark.parametrize("fault", FAULTS, ids=[fault.name for fault in FAULTS])
def test_a_fault_is_refused_and_named(fault: Planted, tmp_path) -> None:
    with pytest.raises(Refused) as caught:
        read_protocol(plant(tmp_path, fault))
    sentences = [item.sentence for item in caught.value.problems]
    assert any(fault.rule in text and fault.says in text and fault.file in text for text in sentences), sentences


def test_a_scheme_that_asks_for_nothing_decides_nothing(tmp_path) -> None:
    fault = Planted(
        "a quiet scheme in a rule",
        "contraindications.toml",
        'id = "femoral_lengthening.femur_deficient"',
        'classification = "femoral_mobile_hip_1998", one_of = ["3c"]',
        f'classification = "{QUIET}", one_of = ["D"]',
        "femoral_lengthening.femur_deficient",
        "asks for nothing",
    )
    with pytest.raises(Refused, match="asks for nothing"):
        read_protocol(plant(tmp_path, fault))


def test_the_thirty_two_contradictions_of_the_literature_all_stand() -> None:
    assert len(PROTOCOL.disagreements) == 32


@for_each(PROTOCOL.disagreements)
def test_a_disagreement_says_what_is_followed_and_why(item) -> None:
    known = {source.id for source in PROTOCOL.sources}
    assert all(set(side.sources) <= known for side in item.sides)
    assert len(item.because.split()) > 4
    assert item.because.endswith(".")


@for_each(PROTOCOL.disagreements)
def test_a_side_from_memory_says_so(item) -> None:
    for side in item.sides:
        if set(side.sources) == {"from_memory"}:
            assert side.provenance == "memory"


@for_each(PROTOCOL.rules())
def test_what_rests_on_memory_or_judgement_too_is_not_called_read(rule) -> None:
    unseen = {"from_memory", "own_judgement"} & set(rule.sources)
    if unseen and rule.provenance == "read":
        named = rule.note + rule.because
        assert "memory" in named or "own judgement" in named, "say in the note which part is not read"


AUTHORS = (
    *("Paley", "Aitken", "Gillespie", "Kalamchi", "Fixsen", "Achterman", "Birch", "Jones", "Syme", "Boyd", "Pappas"),
    *("Weber", "Bowen", "Taylor", "Hillier", "Dechter", "Moseley", "Menelaus", "Suzuki", "Maryland"),
)
TESTS = Path(__file__).parents[1]


def test_types_are_told_in_plain_words_and_by_no_name_of_an_author() -> None:
    shown = [scheme.label for scheme in PROTOCOL.classifications]
    shown += [kind.label for scheme in PROTOCOL.classifications for kind in scheme.types]
    shown += [text for stage in PROTOCOL.stages for text in (stage.label, stage.what, stage.family_words)]
    assert [text for text in shown if any(name in text for name in AUTHORS)] == []


@for_each(PROTOCOL.classifications)
def test_a_scheme_has_at_least_two_types(scheme) -> None:
    assert len(scheme.types) >= 2


def test_ids_carry_no_name_of_an_author_or_a_place_either() -> None:
    """Of rules and of rows of tests; the ids of sources and of example children, which are trees, are left out."""
    ids = [item.id for item in (*PROTOCOL.rules(), *PROTOCOL.findings, *PROTOCOL.classifications, *PROTOCOL.stages)]
    rows = [line for file in TESTS.rglob("*.toml") for line in file.read_text(encoding="utf-8").splitlines()]
    ids += [line for line in rows if line.startswith("id = ") and not re.search(r"-\d\d\"", line)]
    assert len(ids) > 900
    assert [id for id in ids if any(name.casefold() in id.casefold() for name in AUTHORS)] == []
