"""Published counts as rules: what was printed is carried as printed, faults are refused, a clinic lays its own over."""

from __future__ import annotations

from pathlib import Path

import pytest

from pathway.problems import Refused
from pathway.protocol.harm import OUTCOMES, whats
from pathway.protocol.load import load_protocol, read_overlay, read_protocol, with_overlay
from tests.offenders import for_each
from tests.protocol.rule_folder import Planted, plant

PROTOCOL = load_protocol()
BY_ID = {item.id: item for item in PROTOCOL.harms}


@pytest.mark.parametrize(
    ("id", "n", "of"),
    [
        # Suzuki S et al. J Pediatr Orthop 1994;14:343-346: hips that got worse, centre-edge angle above 20 deg or not.
        ("suzuki_1994.hip_instability.covered", 0, 14),
        ("suzuki_1994.hip_instability.shallow", 5, 12),
        # Prophylactic intramedullary rodding following femoral lengthening. J Pediatr Orthop, PMID 26650581.
        ("rodding_2016.fracture.rod_at_removal", 8, 45),
        ("rodding_2016.fracture.no_rod", 32, 95),
        # Nerve lesions associated with limb-lengthening. J Bone Joint Surg Am 2003;85:1502-1510.
        ("nogueira_2003.nerve_sign", 76, 814),
        ("nogueira_2003.nerve_lasting", 2, 814),
        # Makarov MR et al. J Pediatr Orthop 2018;38:370-374.
        ("makarov_2018.arrest_complication", 60, 863),
        ("makarov_2018.arrest_operated_again", 21, 863),
        # Paley D. Clin Orthop 1990;250:81-104.
        ("paley_1990.unplanned_operation", 11, 60),
        # Depaoli A et al. Children 2024;11:1322.
        ("depaoli_2024.course.within_20_mm", 38, 50),
        # Catagni MA et al. Clin Orthop 2011;469, doi 10.1007/s11999-010-1635-7.
        ("catagni_2011.course.lengthenings", 70, 32),
        # Stanitski DF et al. J Pediatr Orthop 1995;15.
        ("stanitski_1995.stopped_early", 2, 30),
    ],
)
def test_counts_are_as_printed(id: str, n: float, of: float) -> None:
    assert (BY_ID[id].n, BY_ID[id].of) == (n, of)


def test_every_series_has_one_source_and_a_series_is_named_the_same_everywhere() -> None:
    sources: dict[str, set[str]] = {}
    for item in PROTOCOL.harms:
        sources.setdefault(item.series, set()).update(item.sources)
    assert [series for series, found in sources.items() if len(found) > 1] == []


def test_what_stands_behind_the_pooled_table_are_lengthenings_of_children() -> None:
    behind = [item for item in PROTOCOL.harms if item.fit]
    assert len(behind) == 80
    assert len({item.series for item in behind}) == 35
    assert {item.treatment for item in behind} == {"lengthening"}
    assert not any(item.adults or item.diagnosis == "achondroplasia" for item in behind)


def test_a_count_speaks_of_outcomes_that_can_be_counted() -> None:
    assert {what for group in OUTCOMES.values() for what in group} <= set(whats())
    assert BY_ID["fast_distraction_48.hip_or_knee_instability"].outcomes == ("hip", "knee")
    assert BY_ID["nogueira_2003.nerve_lasting"].outcomes == ()


@for_each(PROTOCOL.harms)
def test_family_words_are_one_plain_sentence(item) -> None:
    said = item.family_words
    trade = ("femur", "tibia", "regenerate", "epiphys", "contracture", "obstacle", "series", "rare", "1 in ")
    assert said.endswith(".") and said.count(". ") == 0
    assert not [word for word in trade if word in said.lower()]
    assert f"{item.n:g}" in said or f"{round(item.n):g}" in said


@for_each(PROTOCOL.harms)
def test_every_count_says_how_indirect_it_is(item) -> None:
    assert len(item.indirect.split()) >= 1
    assert item.provenance == "read"
    if item.adults or item.diagnosis in ("achondroplasia", "bone_disorder", "brittle_bones"):
        assert item.directness == "far"


LENGTHENING = "harms_lengthening.toml"
FAULTS = (
    Planted("more than all", LENGTHENING, 'id = "burke_2017.fracture"', "n = 8", "n = 208", "burke_2017", "208 of 176"),
    Planted("no group", LENGTHENING, 'id = "burke_2017.fracture"', "of = 176\n", "", "burke_2017", "8 of nothing"),
    Planted(
        "an unknown trouble", LENGTHENING, 'id = "burke_2017.fracture"', '"fracture"', '"break"', "burke_2017", "what"
    ),
    Planted(
        "percent the wrong way round",
        LENGTHENING,
        'id = "burke_2017.fracture"',
        "[12, 22]",
        "[22, 12]",
        "burke_2017",
        "percent range 22 to 12",
    ),
    Planted(
        "ages the wrong way round",
        LENGTHENING,
        'id = "stanitski_1995.nerve_sign"',
        "low = 5, high = 18",
        "low = 18, high = 5",
        "stanitski_1995",
        "low",
    ),
    Planted(
        "a source nobody knows",
        LENGTHENING,
        'id = "burke_2017.fracture"',
        '"burke_2017"]',
        '"nobody_1900"]',
        "burke_2017",
        "nobody_1900",
    ),
    Planted(
        "a fit without percent",
        LENGTHENING,
        'id = "yun_2000.unplanned_operation"',
        "percent = { mean = 33 }\n",
        "",
        "yun_2000",
        "without a percent",
    ),
    Planted(
        "a fit of what is not distinguished",
        LENGTHENING,
        'id = "nogueira_2003.nerve_lasting"',
        'provenance = "read"',
        'fit = true\nprovenance = "read"',
        "nogueira_2003",
        "nerve_lasting",
    ),
    Planted(
        "a share of tibiae among femora",
        LENGTHENING,
        'id = "burke_2017.fracture"',
        'bone = "femur"',
        'bone = "femur"\ntibia_share = 0.2',
        "burke_2017",
        "tibia_share",
    ),
)


@pytest.mark.parametrize("fault", FAULTS, ids=[fault.name for fault in FAULTS])
def test_a_fault_is_refused_with_file_and_count(tmp_path: Path, fault: Planted) -> None:
    with pytest.raises(Refused) as told:
        read_protocol(plant(tmp_path, fault))
    problems = told.value.problems
    assert any(fault.rule in item.key and fault.says in item.sentence for item in problems), problems
    assert all(LENGTHENING in item.place for item in problems)


OWN = """
name = "hill clinic"
[[harm]]
id = "hill.fracture"
what = "fracture"
treatment = "lengthening"
series = "hill"
kind = "share"
n = 3
of = 40
population = "our own femora of ten years"
diagnosis = "congenital"
congenital_share = 1.0
bone = "femur"
device = "frame"
percent = { mean = 17 }
family_words = "In 3 of 40 lengthenings of the thigh bone here, the bone broke or bent."
directness = "direct"
indirect = "our own children"
provenance = "read"
sources = ["own_judgement"]
[[harm]]
id = "burke_2017.fracture"
off = true
because = "Its causes are not ours."
"""


def test_a_clinic_adds_its_own_counts_and_switches_ours_off(tmp_path: Path) -> None:
    (tmp_path / "own.toml").write_text(OWN, encoding="utf-8")
    theirs = with_overlay(PROTOCOL, read_overlay(tmp_path))
    own = next(item for item in theirs.harms if item.id == "hill.fracture")
    assert own.local and own.of == 40
    assert "burke_2017.fracture" not in {item.id for item in theirs.harms}
    assert [(item.id, item.kind) for item in theirs.switched_off] == [("burke_2017.fracture", "harms")]
