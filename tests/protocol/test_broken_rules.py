"""A rule file with a fault is refused, and the sentence names the file and the rule."""

from __future__ import annotations

import pytest

from pathway.protocol.load import ProtocolError, read_protocol
from tests.protocol.rule_folder import Planted, append, copy_of_rules, plant

HIP = "femoral_lengthening.hip_covered"
HIP_ID = f'id = "{HIP}"'
HIP_TEST = '{ finding = "center_edge_angle_deg", above = 20 }'
OSSIFIED = "femoral_lengthening.neck_ossified"
OSSIFIED_TEST = '{ finding = "proximal_femur_ossification", equals = "normal" }'
LARGE = "femoral_lengthening.large_difference"
LARGE_TEST = 'quantity = "predicted_discrepancy_at_maturity_mm", above = 50, chance = 0.5'
YEAR = "hip_preparation.before_lengthening"
YEAR_ID = f'id = "{YEAR}"'
THREE = "femoral_lengthening.not_before_three"
SHARE = "femoral_lengthening.share_30"
SCHEME = "femoral_mobile_hip_1998"
FIRST_TYPE = f"{SCHEME}.1a"


def _gate(name: str, old: str, new: str, says: str) -> Planted:
    return Planted(name, "gates.toml", HIP_ID, old, new, HIP, says)


def _ossified(name: str, new: str, says: str) -> Planted:
    return Planted(name, "gates.toml", f'id = "{OSSIFIED}"', OSSIFIED_TEST, new, OSSIFIED, says)


def _interval(name: str, old: str, new: str, says: str) -> Planted:
    return Planted(name, "intervals.toml", YEAR_ID, old, new, YEAR, says)


FAULTS = (
    _gate("a source nobody knows", '"suzuki_1994"', '"nobody_1900"', "nobody_1900"),
    _gate("no source at all", '["suzuki_1994", "paley_1998_text"]', "[]", "at least 1 item"),
    _gate("sources left out", 'sources = ["suzuki_1994", "paley_1998_text"]\n', "", "sources"),
    _gate("a finding nobody measures", '"center_edge_angle_deg"', '"centre_angle_deg"', "centre_angle_deg"),
    _gate("a threshold above the plausible range", "above = 20", "above = 200", "200"),
    _gate("a threshold below the plausible range", "above = 20", "above = -200", "-200"),
    _gate("no threshold", ", above = 20 }", " }", "compared exactly once"),
    _gate("two thresholds", "above = 20 }", "above = 20, below = 40 }", "compared exactly once"),
    _gate("a threshold in words", "above = 20", 'above = "twenty"', "twenty"),
    _gate("a choice of a number", "above = 20", 'equals = "normal"', "choices"),
    _gate("true of a number", "above = 20", "equals = true", "true or false"),
    _gate("a comparison with a misspelt word", "above = 20", "abvoe = 20", "abvoe"),
    _gate("two forms in one condition", HIP_TEST, f'{{ diagnosis = "x", all = [{HIP_TEST}] }}', "exactly one form"),
    _gate("no form at all", HIP_TEST, "{ above = 20 }", "exactly one form"),
    _gate("all of nothing", HIP_TEST, "{ all = [] }", "at least one condition"),
    _gate("any of nothing", HIP_TEST, "{ any = [] }", "at least one condition"),
    _gate("a diagnosis nobody has", HIP_TEST, '{ diagnosis = "flu" }', "flu"),
    _gate("a diagnosis that is compared", HIP_TEST, '{ diagnosis = "flu", at_least = 2 }', "not compared"),
    _gate("a stage nobody does", HIP_TEST, '{ stage = "massage", equals = "done" }', "massage"),
    _gate("a stage in a state that is none", HIP_TEST, '{ stage = "hip_preparation", equals = "half" }', "done"),
    _gate("a scheme nobody published", HIP_TEST, '{ classification = "mine", one_of = ["1"] }', "mine"),
    _gate("a type the scheme lacks", HIP_TEST, f'{{ classification = "{SCHEME}", one_of = ["9z"] }}', "9z"),
    _gate("a scheme without types", HIP_TEST, f'{{ classification = "{SCHEME}" }}', "one_of"),
    _gate("a quantity nobody predicts", HIP_TEST, '{ quantity = "shoe_size", above = 20 }', "shoe_size"),
    _gate(
        "a quantity compared with a word", HIP_TEST, '{ quantity = "age_years", equals = "four" }', "at_least, above"
    ),
    _gate("a quantity that is only known", HIP_TEST, '{ quantity = "age_years", known = true }', "at_least, above"),
    _gate("a stage to guard that does not exist", '"femoral_lengthening"', '"femur_stretching"', "femur_stretching"),
    _gate("a stage that mends which does not exist", '"hip_preparation"', '"hip_magic"', "hip_magic"),
    _gate("a field that means nothing", "because =", "becuase =", "becuase"),
    _gate("a provenance nobody defined", 'provenance = "read"', 'provenance = "hearsay"', "hearsay"),
    _gate("a strength nobody defined", 'strength = "series"', 'strength = "strong"', "strong"),
    _ossified("a number compared on a choice", '{ finding = "proximal_femur_ossification", at_least = 3 }', "choice"),
    _ossified("a choice that is none", '{ finding = "proximal_femur_ossification", equals = "soft" }', "soft"),
    _ossified("true of a choice", '{ finding = "proximal_femur_ossification", equals = true }', "true or false"),
    _ossified("the other leg of the child", '{ finding = "active_infection", leg = "other", equals = true }', "whole"),
    _interval("negative months", "at_least_months = 12", "at_least_months = -12", "-12"),
    _interval("half a month", "at_least_months = 12", "at_least_months = 12.5", "12.5"),
    _interval(
        "a least above the most", "at_least_months = 12", "at_least_months = 12\nat_most_months = 6", "at most 6"
    ),
    _interval("no bound", "at_least_months = 12\n", "", "no bound"),
    _interval("an event that is none", '"hip_preparation.start"', '"hip_preparation.middle"', "middle"),
    _interval("a stage that is none", '"hip_preparation.start"', '"hip_massage.start"', "hip_massage"),
    Planted(
        "a chance above one", "indications.toml", LARGE, LARGE_TEST, LARGE_TEST.replace("0.5", "1.5"), LARGE, "1.5"
    ),
    Planted("an age in words", "age_windows.toml", THREE, "36", '"three years"', THREE, "three years"),
    Planted(
        "a sex that is none", "age_windows.toml", THREE, "hard = true", 'hard = true\nsex = "child"', THREE, "girl"
    ),
    Planted("no limit in a limit", "amount_limits.toml", SHARE, "most_percent = 30\n", "", SHARE, "0 limits"),
    Planted("two limits in one", "amount_limits.toml", SHARE, "= 30\n", "= 30\nmost_mm = 80\n", SHARE, "2 limits"),
    Planted("a limit of nothing", "amount_limits.toml", SHARE, "= 30\n", "= 0\n", SHARE, "limit 0"),
    Planted(
        "a scheme for a diagnosis that is none",
        "classifications.toml",
        f'id = "{SCHEME}"',
        '"congenital_short_femur"',
        '"short_bone"',
        SCHEME,
        "short_bone",
    ),
    Planted(
        "a type that stands twice",
        "classifications.toml",
        f'id = "{SCHEME}.1b"',
        'type = "1b"',
        'type = "1a"',
        SCHEME,
        "1a",
    ),
    Planted(
        "a type without a condition",
        "classifications.toml",
        FIRST_TYPE,
        "  when = { all = [",
        "  why = { all = [",
        SCHEME,
        "when",
    ),
    Planted(
        "a number without a plausible range",
        "findings.toml",
        'id = "center_edge_angle_deg"',
        "plausible = [-60, 60]\n",
        "",
        "center_edge_angle_deg",
        "plausible",
    ),
    Planted(
        "a plausible range upside down",
        "findings.toml",
        'id = "center_edge_angle_deg"',
        "[-60, 60]",
        "[60, -60]",
        "center_edge_angle_deg",
        "lower value first",
    ),
    Planted(
        "a choice without choices",
        "findings.toml",
        'id = "hip_joint"',
        'choices = ["reduced", "subluxed", "dislocated"]\n',
        "",
        "hip_joint",
        "choices",
    ),
    Planted(
        "a finding that counts for no time",
        "findings.toml",
        'id = "center_edge_angle_deg"',
        "valid_months = 12",
        "valid_months = 0",
        "center_edge_angle_deg",
        "valid for 0 months",
    ),
    Planted(
        "a unit nobody measures in",
        "findings.toml",
        'id = "center_edge_angle_deg"',
        'unit = "deg"',
        'unit = "cm"',
        "center_edge_angle_deg",
        "cm",
    ),
    Planted(
        "a stage that alters a finding nobody measures",
        "stages.toml",
        'id = "hip_preparation"',
        'alters = ["center_edge_angle_deg"',
        'alters = ["centre_angle_deg"',
        "hip_preparation",
        "centre_angle_deg",
    ),
    Planted(
        "a diagnosis without a bone",
        "diagnoses.toml",
        'id = "congenital_femoral_deficiency"',
        'bones = ["femur", "tibia"]',
        "bones = []",
        "congenital_femoral_deficiency",
        "no bone",
    ),
    Planted(
        "a caution for a stage that is none",
        "cautions.toml",
        'id = "caution.hip_evidence"',
        '"hip_preparation"',
        '"hip_massage"',
        "caution.hip_evidence",
        "hip_massage",
    ),
)


@pytest.mark.parametrize("fault", FAULTS, ids=[fault.name for fault in FAULTS])
def test_a_planted_fault_is_told_with_its_file_and_rule(fault: Planted, tmp_path) -> None:
    rules = plant(tmp_path, fault)
    with pytest.raises(ProtocolError) as caught:
        read_protocol(rules)
    sentences = [item.sentence for item in caught.value.faults]
    named = [text for text in sentences if fault.file in text and fault.rule in text and fault.says in text]
    assert named, sentences


def test_an_id_that_stands_twice_is_told_with_both_files(tmp_path) -> None:
    twice = f"""
[[interval]]
id = "{HIP}"
earlier = "hip_preparation.start"
later = "femoral_lengthening.start"
at_least_months = 1
because = "The id of a gate is taken."
provenance = "judgement"
sources = ["own_judgement"]
"""
    with pytest.raises(ProtocolError) as caught:
        read_protocol(append(tmp_path, "intervals.toml", twice))
    (fault,) = caught.value.faults
    assert fault.where == "stages/gates.toml and stages/intervals.toml"
    assert HIP in fault.sentence
    assert "2 times" in fault.sentence


@pytest.mark.parametrize(
    ("file", "entry", "name"),
    [
        ("sources.toml", '[[source]]\nid = "suzuki_1994"\ncitation = "again"\n', "suzuki_1994"),
        (
            "stages.toml",
            '[[stage]]\nid = "hip_preparation"\nlabel = "a"\nlane = "hip"\nwhat = "b"\nfamily_words = "c"\n'
            'provenance = "practice"\nsources = ["common_practice"]\n',
            "hip_preparation",
        ),
        (
            "methods.toml",
            '[[method]]\nid = "tape"\nlabel = "a"\nprovenance = "practice"\nsources = ["common_practice"]\n',
            "tape",
        ),
        (
            "diagnoses.toml",
            '[[diagnosis]]\nid = "fibular_deficiency"\nlabel = "a"\ngrowth_pattern = "congenital"\nbones = ["tibia"]\n'
            'provenance = "practice"\nsources = ["common_practice"]\n',
            "fibular_deficiency",
        ),
    ],
)
def test_every_kind_of_id_may_stand_once(file, entry, name, tmp_path) -> None:
    with pytest.raises(ProtocolError) as caught:
        read_protocol(append(tmp_path, file, entry))
    assert any(file in item.sentence and name in item.sentence for item in caught.value.faults)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[[gate]\n", "not TOML"),
        ('[[gate]]\nid = "a"\nid = "b"\n', "not TOML"),
        ('[[surprise]]\nid = "a"\n', "surprise"),
        ('gate = "none"\n', "not a table"),
        ("gate = [1]\n", "not a table"),
        ('[[gate]]\nbecause = "no id"\n', "rule without id"),
    ],
)
def test_a_file_of_another_shape_is_told_by_its_name(text, says, tmp_path) -> None:
    rules = copy_of_rules(tmp_path)
    (rules / "local.toml").write_text(text, encoding="utf-8")
    with pytest.raises(ProtocolError) as caught:
        read_protocol(rules)
    assert all(item.where == "local.toml" for item in caught.value.faults)
    assert any(says in item.sentence for item in caught.value.faults)


def test_bytes_that_are_no_text_are_told_by_the_name_of_their_file(tmp_path) -> None:
    rules = copy_of_rules(tmp_path)
    (rules / "local.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ProtocolError, match=r"local\.toml: found text that is not TOML"):
        read_protocol(rules)


def test_a_fault_in_a_growth_file_is_told_with_its_folder(tmp_path) -> None:
    rules = copy_of_rules(tmp_path)
    (rules / "growth" / "local.toml").write_text('[[surprise]]\nid = "a"\n', encoding="utf-8")
    with pytest.raises(ProtocolError, match=r"growth/local\.toml"):
        read_protocol(rules)


def test_a_card_without_a_version_is_refused(tmp_path) -> None:
    rules = copy_of_rules(tmp_path)
    card = (rules / "protocol.toml").read_text(encoding="utf-8")
    (rules / "protocol.toml").write_text(card.replace("version =", "edition ="), encoding="utf-8")
    with pytest.raises(ProtocolError, match=r"protocol\.toml"):
        read_protocol(rules)


def test_all_faults_of_all_files_are_told_at_once(tmp_path) -> None:
    rules = copy_of_rules(tmp_path)
    files = {"stages/gates.toml", "stages/intervals.toml", "stages/stages.toml"}
    for file in files:
        text = (rules / file).read_text(encoding="utf-8")
        (rules / file).write_text(text.replace("provenance = ", "provenience = ", 1), encoding="utf-8")
    with pytest.raises(ProtocolError) as caught:
        read_protocol(rules)
    assert {item.where for item in caught.value.faults} == files
