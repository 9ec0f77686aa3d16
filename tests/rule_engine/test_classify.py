"""Each type of the published schemes, with the findings that give it and the citation beside each row."""

from __future__ import annotations

from itertools import product

import pytest

from pathway.rule_engine.classify import classify, with_classes
from pathway.rule_engine.conditions import ClassFact
from tests.offenders import for_each
from tests.rule_engine.made_facts import facts

FEMUR = "femoral_mobile_hip_1998"
FOOT = "fibular_foot_2011"
MOBILE_HIP = "Paley D et al. Lengthening reconstruction surgery for congenital femoral deficiency, chapter 29, 1998"
FOOT_2011 = (
    "Birch JG et al. J Bone Joint Surg Am 2011;93:1144-1151; bands as printed in Lovell and Winter, 7th ed., ch. 30"
)

WHOLE = {
    "femoral_shaft": "reaches_socket",
    "femoral_deficiency_site": "proximal",
    "proximal_femur_continuity": "bone",
    "proximal_femur_ossification": "normal",
    "hip_mobile": True,
    "femoral_head": "mobile",
    "knee_motion_arc_deg": 120.0,
}
"""Everything that the femoral scheme asks, for a femur that is whole and short."""

FEMORAL_ROWS = [
    ("1a", {}, MOBILE_HIP),
    ("1a", {"proximal_femur_continuity": "cartilage"}, MOBILE_HIP),
    ("1b", {"proximal_femur_ossification": "delayed"}, MOBILE_HIP),
    ("1b", {"proximal_femur_ossification": "delayed", "proximal_femur_continuity": "cartilage"}, MOBILE_HIP),
    ("2a", {"proximal_femur_continuity": "mobile_pseudarthrosis"}, MOBILE_HIP),
    ("2a", {"proximal_femur_continuity": "mobile_pseudarthrosis", "hip_mobile": False}, MOBILE_HIP),
    ("2b", {"proximal_femur_continuity": "mobile_pseudarthrosis", "femoral_head": "stiff"}, MOBILE_HIP),
    ("2b", {"proximal_femur_continuity": "mobile_pseudarthrosis", "femoral_head": "absent"}, MOBILE_HIP),
    ("3a", {"femoral_shaft": "deficient"}, MOBILE_HIP),
    ("3a", {"femoral_shaft": "deficient", "knee_motion_arc_deg": 45.0}, MOBILE_HIP),
    ("3b", {"femoral_shaft": "deficient", "knee_motion_arc_deg": 44.0}, MOBILE_HIP),
    ("3c", {"femoral_shaft": "absent"}, MOBILE_HIP),
    ("4", {"femoral_deficiency_site": "distal"}, MOBILE_HIP),
    ("4", {"femoral_deficiency_site": "distal", "femoral_shaft": "deficient"}, MOBILE_HIP),
]

FOOT_ROWS = [
    ("1A", True, 0.0, None, FOOT_2011),
    ("1A", True, 5.0, None, FOOT_2011),
    ("1B", True, 5.1, None, FOOT_2011),
    ("1B", True, 10.0, None, FOOT_2011),
    ("1C", True, 10.1, None, FOOT_2011),
    ("1C", True, 30.0, None, FOOT_2011),
    ("1D", True, 30.1, None, FOOT_2011),
    ("2A", False, 12.0, True, FOOT_2011),
    ("2B", False, 12.0, False, FOOT_2011),
]


def answer(scheme, child, protocol):
    (item,) = [item for item in classify(child, protocol) if item.scheme.id == scheme]
    return item


def femoral(protocol, **changed):
    return answer(FEMUR, facts({**WHOLE, **changed}), protocol)


def foot(protocol, **found):
    return answer(FOOT, facts(found, diagnosis="fibular_deficiency"), protocol)


@for_each(FEMORAL_ROWS, name=lambda kind, changed, _: f"{kind} {changed or 'whole'}")
def test_the_femoral_scheme(type_, changed, source, protocol) -> None:
    item = femoral(protocol, **changed)
    assert item.type is not None, source
    assert item.type.type == type_, source
    assert item.verdict.state == "holds"
    assert item.asks == frozenset()


@for_each(FOOT_ROWS, name=lambda kind, _, shortening, *__: f"{kind} {shortening} %")
def test_the_fibular_scheme(type_, useful, shortening, arms, source, protocol) -> None:
    found = {"foot_functional": useful, "limb_shortening_percent": shortening}
    if arms is not None:
        found["upper_limbs_functional"] = arms
    assert foot(protocol, **found).type.type == type_, source


def test_every_type_of_both_schemes_has_a_row() -> None:
    from pathway.protocol.load import load_protocol

    types = {scheme.id: {kind.type for kind in scheme.types} for scheme in load_protocol().classifications}
    assert {row[0] for row in FEMORAL_ROWS} == types[FEMUR]
    assert {row[0] for row in FOOT_ROWS} == types[FOOT]


class TestWhichSchemesApply:
    @pytest.mark.parametrize(
        ("diagnosis", "schemes"),
        [
            ("congenital_femoral_deficiency", [FEMUR]),
            ("congenital_short_femur", [FEMUR]),
            ("fibular_deficiency", [FOOT]),
            ("acquired_physis_damage", []),
        ],
    )
    def test_by_diagnosis(self, diagnosis, schemes, protocol) -> None:
        found = [item.scheme.id for item in classify(facts(WHOLE, diagnosis=diagnosis), protocol)]
        assert [scheme for scheme in found if scheme in (FEMUR, FOOT)] == schemes
        assert all(diagnosis in item.applies_to for item in protocol.classifications if item.id in found)


class TestUndetermined:
    """Where findings are missing the child is undetermined, with what would settle it."""

    def test_nothing_known_asks_for_everything_that_matters(self, protocol) -> None:
        item = answer(FEMUR, facts(), protocol)
        assert item.type is None
        assert item.asks == set(WHOLE)
        assert item.open == {kind.type for kind in item.scheme.types}

    def test_one_missing_finding_is_the_only_one_asked_for(self, protocol) -> None:
        known = {name: value for name, value in WHOLE.items() if name != "proximal_femur_ossification"}
        item = answer(FEMUR, facts(known), protocol)
        assert item.type is None
        assert item.asks == {"proximal_femur_ossification"}
        assert item.open == {"1a", "1b"}

    def test_what_the_known_findings_rule_out_is_not_asked_for(self, protocol) -> None:
        item = answer(FEMUR, facts({"femoral_shaft": "deficient", "femoral_deficiency_site": "proximal"}), protocol)
        assert item.asks == {"knee_motion_arc_deg"}
        assert item.open == {"3a", "3b"}

    def test_an_absent_femur_is_told_without_anything_else(self, protocol) -> None:
        item = answer(FEMUR, facts({"femoral_shaft": "absent"}), protocol)
        assert item.type.type == "3c"

    def test_a_foot_without_a_shortening_is_undetermined(self, protocol) -> None:
        item = foot(protocol, foot_functional=True)
        assert item.type is None
        assert item.asks == {"limb_shortening_percent"}


class TestPublishedGap:
    """The femoral scheme has no type for a continuous femur whose hip does not move: that is said, not guessed."""

    def test_a_hip_that_is_not_mobile_has_no_type_and_nothing_to_ask(self, protocol) -> None:
        item = femoral(protocol, hip_mobile=False)
        assert item.type is None
        assert item.asks == frozenset()
        assert item.open == frozenset()
        assert "not mobile" in item.scheme.gap

    def test_a_knee_that_is_stiff_below_a_whole_femur_has_none_either(self, protocol) -> None:
        assert femoral(protocol, knee_motion_arc_deg=30.0).type is None


class TestNoOverlap:
    """Where the findings are known no two types hold at once: over every combination."""

    def test_the_femoral_scheme(self, protocol) -> None:
        from itertools import product

        values = {
            "femoral_shaft": ("reaches_socket", "deficient", "absent"),
            "femoral_deficiency_site": ("proximal", "distal"),
            "proximal_femur_continuity": ("bone", "cartilage", "mobile_pseudarthrosis"),
            "proximal_femur_ossification": ("normal", "delayed"),
            "hip_mobile": (True, False),
            "femoral_head": ("mobile", "stiff", "absent"),
            "knee_motion_arc_deg": (44.0, 45.0),
        }
        for combination in product(*values.values()):
            found = dict(zip(values, combination, strict=True))
            item = answer(FEMUR, facts(found), protocol)
            assert len(item.open) <= 1, (found, item.open)
            assert (item.type is not None) == bool(item.open)

    @for_each(product([0, 4.9, 5, 5.1, 9.9, 10, 10.1, 29.9, 30, 30.1, 60], [True, False], [True, False]))
    def test_the_fibular_scheme_has_neither_overlap_nor_gap(self, shortening, useful, arms, protocol) -> None:
        found = {
            "foot_functional": useful,
            "upper_limbs_functional": arms,
            "limb_shortening_percent": float(shortening),
        }
        assert len(foot(protocol, **found).open) == 1


def test_conditions_can_then_ask_for_the_type(protocol) -> None:
    known = facts({**WHOLE, "femoral_shaft": "deficient"})
    fact = with_classes(known, classify(known, protocol)).classes[FEMUR]
    assert fact == ClassFact("3a", frozenset(), frozenset({"3a"}))


def test_an_undetermined_type_is_handed_on_with_what_is_still_open(protocol) -> None:
    known = facts({"femoral_shaft": "deficient", "femoral_deficiency_site": "proximal"})
    fact = with_classes(known, classify(known, protocol)).classes[FEMUR]
    assert fact == ClassFact("undetermined", frozenset({"knee_motion_arc_deg"}), frozenset({"3a", "3b"}))
