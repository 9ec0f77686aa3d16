"""What a stage is stands in its role: the rules say it, and no clinical stage is named in the program."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from pathway.problems import Refused
from pathway.protocol.load import load_protocol, read_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.roles import growth_arrest, kinds_of, lengthenings, predecessor_of, reexamination, role_of
from tests.protocol.rule_folder import copy_of_rules

ROOT = Path(__file__).parents[2]
OF_ANOTHER_KIND = {
    ("pathway/preferences.py", "prosthetic_road"): "the id of a course",
    ("pathway/tables/words.py", "examination"): "the id of a way of measuring",
    ("pathway/exports/calendar/agenda.py", "examination"): "a category of calendar entries",
    ("pathway/plan/verify/__init__.py", "examination"): "the name of a breach",
    ("pathway/plan/verify/calendar.py", "examination"): "the name of a breach",
}
"""Words of the program that are spelt like a stage and mean none."""


def test_the_rules_shipped_give_each_role_its_stage(protocol: Protocol) -> None:
    arrest = growth_arrest(protocol)
    assert arrest is not None and arrest.lane == "other_leg"
    assert [[kind.id for kind in lengthenings(bone, protocol)] for bone in ("femur", "tibia")] == [
        ["femoral_lengthening"],
        ["tibial_lengthening"],
    ]
    assert reexamination(protocol).id == "examination"
    assert role_of("knee_preparation", protocol) is role_of("no_such_stage", protocol) is None


def test_what_starts_at_the_end_of_a_lengthening_knows_it(protocol: Protocol) -> None:
    leaders = {stage.id: leader.id for stage in protocol.stages if (leader := predecessor_of(stage, protocol))}
    assert set(leaders) == {*kinds_of("device_removal", protocol), *kinds_of("surveillance", protocol)}
    assert set(leaders.values()) == set(kinds_of("lengthening", protocol))


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('role = "growth_modulation"\n', 'role = "growth_arrest"\n', "a role that stands once"),
        ('role = "reexamination"\n', "", "because every plan may hold it"),
        ('role = "lengthening"\n', "", "a lengthening and its bone"),
        ('role = "growth_modulation"\n', 'role = "lengthening"\n', "a lengthening and its bone"),
        ('role = "growth_arrest"\n', 'role = "growth_arrest"\nmost = 2\n', "growth plates that are closed stay closed"),
        ('role = "growth_modulation"\n', 'role = "surveillance"\n', "from the end of one lengthening"),
        ('role = "device_removal"\n', "", "a stage with the role device_removal at its end"),
        ('role = "growth_arrest"\n', 'role = "guided_growth"\n', "role"),
    ],
)
def test_a_role_that_cannot_be_is_refused(old: str, new: str, says: str, tmp_path: Path) -> None:
    rules = copy_of_rules(tmp_path)
    path = rules / "stages" / "stages.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(Refused) as caught:
        read_protocol(rules)
    assert any(says in fault.sentence for fault in caught.value.problems)


def _words(tree: ast.Module) -> Iterator[str]:
    """Yield every text of a module that is no docstring."""
    said = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in said:
            yield node.value


def named_stages(source: str, stages: frozenset[str]) -> set[str]:
    """Return the stages that a module names, alone or as the head of a rule's id (`stage.rule`)."""
    return {word for text in _words(ast.parse(source)) for word in (text, text.partition(".")[0]) if word in stages}


def test_no_clinical_stage_is_named_in_the_program() -> None:
    stages = frozenset(stage.id for stage in load_protocol().stages)
    found = {
        (str(path.relative_to(ROOT)), word)
        for folder in ("pathway", "tui")
        for path in sorted((ROOT / folder).rglob("*.py"))
        for word in named_stages(path.read_text(encoding="utf-8"), stages)
    }
    assert found == set(OF_ANOTHER_KIND)


def test_a_stage_that_is_named_is_found() -> None:
    source = '"""femoral_lengthening"""\nARREST = "growth_stop"\nrule = f"{x}"\nother = "growth_stop.not_before_ten"\n'
    assert named_stages(source, frozenset({"growth_stop", "femoral_lengthening"})) == {"growth_stop"}
