"""Cells and the search over them agree with judging every combination one by one."""

from __future__ import annotations

from itertools import product

import pytest

from pathway.protocol.load import load_protocol
from pathway.protocol.prove.space import Space
from pathway.rule_engine.classify import classify
from pathway.rule_engine.conditions import judge
from pathway.rule_engine.findings import Unknown
from tests.rule_engine.made_facts import condition, facts

PROTOCOL = load_protocol()
SPACE = Space(PROTOCOL)
SCHEMES = [scheme for scheme in PROTOCOL.classifications if scheme.id != "femoral_five_types_1985"]
"""The five types alone have several thousand combinations; they are left to the search."""


def axes_of(scheme):
    conditions = [kind.when for kind in scheme.types]
    return sorted({SPACE.holding(leaf)[0] for when in conditions for leaf in when.leaves()})


def combinations(scheme):
    axes = axes_of(scheme)
    for values in product(*(sorted(SPACE.cells(axis) - {None}, key=str) for axis in axes)):
        yield {name: value for (_, name, _), value in zip(axes, values, strict=True)}


def as_found(values):
    """A cell of nothing is a finding that was not measured."""
    return {name: Unknown("never_measured") if value is None else value for name, value in values.items()}


@pytest.mark.parametrize("scheme", SCHEMES, ids=lambda scheme: scheme.id)
def test_every_child_has_one_type_or_falls_into_the_declared_gap(scheme) -> None:
    for findings in combinations(scheme):
        child = facts(dict(findings))
        holding = [kind.type for kind in scheme.types if judge(kind.when, child, PROTOCOL).state == "holds"]
        gap = scheme.gap_when is not None and judge(scheme.gap_when, child, PROTOCOL).state == "holds"
        assert len(holding) + gap == 1, (findings, holding)


@pytest.mark.parametrize("scheme", SCHEMES, ids=lambda scheme: scheme.id)
def test_a_child_with_a_finding_missing_is_undetermined_or_already_settled(scheme) -> None:
    names = [name for _, name, _ in axes_of(scheme)]
    for missing in names:
        for findings in list(combinations(scheme))[::41]:
            held = {**findings, missing: Unknown("never_measured")}
            child = facts(held, diagnosis=scheme.applies_to[0])
            answer = next(item for item in classify(child, PROTOCOL) if item.scheme.id == scheme.id)
            rest = {item.type for item in scheme.types if judge(item.when, child, PROTOCOL).state != "fails"}
            assert answer.open == rest
            assert answer.type is None or rest == {answer.type.type}


@pytest.mark.parametrize(
    ("form", "values"),
    [
        ({"finding": "hip_flexion_contracture_deg", "above": 10}, {"lowest": 0.0, "highest": 120.0}),
        ({"finding": "knee_motion_arc_deg", "at_least": 40}, {"lowest": 0.0, "highest": 170.0}),
    ],
)
def test_a_number_is_cut_at_its_thresholds_and_between_them(form, values) -> None:
    axis, holding = SPACE.holding(condition(**form))
    cells = sorted(cell for cell in SPACE.cells(axis) if cell is not None)
    (bound,) = [number for key, number in form.items() if key != "finding"]
    assert cells[0] == values["lowest"]
    assert cells[-1] == values["highest"]
    assert bound in cells
    assert any(cell < bound for cell in cells)
    assert any(cell > bound for cell in cells)
    assert (bound in holding) == ("at_least" in form)


FORMS = [
    {"all": [{"finding": "hip_mobile", "equals": True}, {"finding": "femoral_head", "one_of": ["stiff", "absent"]}]},
    {"not": {"any": [{"finding": "hip_mobile", "equals": True}, {"finding": "femoral_head", "equals": "mobile"}]}},
    {"any": [{"all": [{"finding": "hip_mobile", "equals": False}, {"finding": "femoral_head", "equals": "stiff"}]},
             {"not": {"finding": "acetabulum", "equals": "adequate"}}]},
    {"all": [{"any": [{"finding": "acetabulum", "equals": "absent"}, {"finding": "hip_mobile", "equals": True}]},
             {"any": [{"finding": "femoral_head", "equals": "mobile"}, {"finding": "hip_mobile", "equals": False}]}]},
]  # fmt: skip


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("wanted", [True, False])
def test_the_boxes_hold_exactly_the_children_for_whom_the_condition_comes_out_as_wanted(form, wanted) -> None:
    tested = condition(**form)
    axes = [("finding", name, "affected") for name in ("hip_mobile", "femoral_head", "acetabulum")]
    boxes = list(SPACE.boxes((tested, wanted)))
    for values in product(*(sorted(SPACE.cells(axis), key=str) for axis in axes)):
        child = dict(zip(axes, values, strict=True))
        inside = any(all(child[axis] in cells for axis, cells in box.items()) for box in boxes)
        judged = judge(
            tested, facts(as_found({name: child["finding", name, "affected"] for _, name, _ in axes})), PROTOCOL
        )
        assert inside == (judged.state == ("holds" if wanted else "fails"))


def test_a_finding_that_is_not_measured_misses_what_asks_for_it_and_fails_no_comparison() -> None:
    known = condition(finding="femoral_version_deg", known=True)
    missing = SPACE.example((known, False))
    assert missing is not None
    assert missing.words == "femoral_version_deg = not measured"
    assert SPACE.example((known, False), (condition(finding="femoral_version_deg", above=10), False)) is None


def test_a_finding_whose_lack_counts_as_no_fails_where_it_is_not_measured() -> None:
    absent = condition(finding="acetabulum", equals="absent", missing="fails")
    axis, holding = SPACE.holding(absent)
    assert None in SPACE.cells(axis)
    assert holding == {"absent"}
    assert any(None in box[axis] for box in SPACE.boxes((absent, False)))
    assert judge(absent, facts({}), PROTOCOL).state == "fails"
    assert judge(absent, facts({}), PROTOCOL).asks == ()


def test_a_type_is_replaced_by_its_findings_and_the_diagnoses_of_its_scheme() -> None:
    child = SPACE.example((condition(classification="fibular_foot_2011", one_of=["2B"]), True))
    assert child is not None
    assert child.words == "diagnosis = fibular_deficiency, foot_functional = no, upper_limbs_functional = no"
