"""Imports run downward only, and the contracts that say so catch what breaks them."""

from __future__ import annotations

import pytest

from tests.contracts.trees import ROOT, copied_tree, lint_imports, plant, plant_new


def test_the_tree_keeps_every_contract() -> None:
    done = lint_imports(ROOT)
    assert done.returncode == 0, done.stdout
    assert "0 broken" in done.stdout


@pytest.mark.parametrize(
    ("module", "lines", "complaint"),
    [
        pytest.param(
            "pathway.network",
            "from pathway.timing import schedule\n",
            "pathway.network -> pathway.timing.schedule",
            id="the network knows medicine",
        ),
        pytest.param(
            "pathway.casefile.read",
            "from pathway.rule_engine import findings\n",
            "pathway.casefile.read -> pathway.rule_engine.findings",
            id="one room looks into its neighbour",
        ),
        pytest.param(
            "pathway.rule_engine.findings",
            "def f() -> None:\n    import textual\n",
            "pathway.rule_engine.findings -> textual",
            id="a screen inside a function of the core",
        ),
        pytest.param(
            "pathway.rule_engine.conditions",
            "def f() -> None:\n    from pathlib import Path\n    Path()\n",
            "pathway.rule_engine.conditions -> pathlib",
            id="a file inside a function of the core",
        ),
        pytest.param(
            "pathway.plan.verify",
            "from pathway.network import windows\n",
            "pathway.plan.verify -> pathway.network",
            id="the judge asks the planner's network",
        ),
    ],
)
def test_a_planted_import_is_caught_with_its_place(module, lines, complaint, tmp_path) -> None:
    tree = copied_tree(tmp_path)
    plant(tree, module, lines)
    done = lint_imports(tree)
    assert done.returncode != 0
    assert complaint in done.stdout


def test_a_new_module_of_the_core_is_inside_the_contracts_without_being_listed(tmp_path) -> None:
    tree = copied_tree(tmp_path)
    plant_new(tree, "pathway.rule_engine.planted", "import os\n\nHERE = os.getcwd()\n")
    plant(tree, "pathway.rule_engine.staging", "from pathway.rule_engine import planted\n")
    done = lint_imports(tree)
    assert done.returncode != 0
    assert "pathway.rule_engine.planted -> os" in done.stdout


def test_a_new_verb_may_not_use_the_inside_of_the_registry(tmp_path) -> None:
    tree = copied_tree(tmp_path)
    plant_new(tree, "pathway.cli.planted", "from pathway.registry.db import rows\n\nROWS = rows\n")
    plant(tree, "pathway.cli.main", "from pathway.cli import planted\n")
    done = lint_imports(tree)
    assert done.returncode != 0
    assert "pathway.cli.planted -> pathway.registry.db" in done.stdout


def test_a_room_that_nobody_placed_is_told(tmp_path) -> None:
    tree = copied_tree(tmp_path)
    plant_new(tree, "pathway.planted", "ROOM = 1\n")
    done = lint_imports(tree)
    assert done.returncode != 0
    assert "pathway.planted" in done.stdout
