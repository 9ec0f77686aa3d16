"""Only the edge reads the clock or rolls dice: the linter's settings catch it anywhere else."""

from __future__ import annotations

import pytest

from tests.contracts.trees import copied_tree, plant, ruff

BANNED = [
    pytest.param("import datetime\n\nNOW = datetime.date.today()\n", id="today by the module"),
    pytest.param("from datetime import date\n\nNOW = date.today()\n", id="today by the class"),
    pytest.param("import pendulum\n\nNOW = pendulum.now()\n", id="pendulum now"),
    pytest.param("import pendulum\n\nNOW = pendulum.today()\n", id="pendulum today"),
    pytest.param("import time\n\nNOW = time.time()\n", id="seconds"),
    pytest.param("import random\n\nDICE = random.random()\n", id="dice"),
    pytest.param("def f() -> str:\n    import random\n\n    return str(random)\n", id="dice in a function"),
]


@pytest.fixture(scope="module")
def sources(tmp_path_factory):
    return copied_tree(tmp_path_factory.mktemp("tree"))


@pytest.mark.parametrize("lines", BANNED)
def test_a_clock_or_dice_planted_in_the_core_is_caught(lines, sources) -> None:
    (sources / "pathway" / "planted.py").write_text(f'"""Planted."""\n\n{lines}', encoding="utf-8")
    done = ruff(sources, "pathway/planted.py")
    assert done.returncode == 1
    assert "TID251" in done.stdout


def test_a_clock_planted_in_a_real_core_module_is_caught_with_its_place(tmp_path) -> None:
    tree = copied_tree(tmp_path)
    assert ruff(tree, "pathway/network.py").returncode == 0
    plant(tree, "pathway.network", "import datetime\n\nNOW = datetime.date.today()\n")
    done = ruff(tree, "pathway/network.py")
    assert "pathway/network.py" in done.stdout
    assert "`datetime.date.today` is banned" in done.stdout


def test_the_command_line_may_read_the_clock(sources) -> None:
    plain = '"""Planted."""\n\nimport datetime\n\nNOW = datetime.date.today()\n'
    (sources / "pathway" / "cli" / "options.py").write_text(plain, encoding="utf-8")
    done = ruff(sources, "pathway/cli/options.py")
    assert done.returncode == 0, done.stdout
