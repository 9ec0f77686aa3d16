"""Loading the core loads no screen, no command line and no database."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from tests.contracts.trees import ROOT, SETTINGS

NEVER = (
    "textual",
    "rich",
    "click",
    "sqlite3",
    "sqlalchemy",
    "pathway.registry",
    "pathway.cli",
    "tui",
)
CORE = next(
    contract["source_modules"]
    for contract in SETTINGS["tool"]["importlinter"]["contracts"]
    if contract["name"].startswith("the core knows no file")
)

# One fresh process for all modules: each is asked right after it was loaded, so the first to load a forbidden
# module is the one that is named. A process for each would say the same and take a minute.
_ASK = """
import importlib, json, pkgutil, sys
never, waiting = json.loads(sys.argv[1])
names, guilty = [], {}
while waiting and not guilty:
    name = waiting.pop(0)
    names.append(name)
    module = importlib.import_module(name)
    loaded = [one for one in never if one in sys.modules]
    if loaded:
        guilty[name] = loaded
    waiting += [f"{name}.{one.name}" for one in pkgutil.iter_modules(getattr(module, "__path__", ()))]
print(json.dumps([names, guilty]))
"""


def _load(core: list[str]) -> tuple[list[str], dict[str, list[str]]]:
    command = [sys.executable, "-c", _ASK]
    question = json.dumps([NEVER, core])
    done = subprocess.run([*command, question], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    names, guilty = json.loads(done.stdout)
    return names, guilty


def test_no_core_module_loads_a_screen_a_command_line_or_a_database() -> None:
    names, guilty = _load(CORE)
    assert set(CORE) <= set(names)
    assert guilty == {}


@pytest.mark.parametrize("edge", ["textual.app", "click"])
def test_a_module_that_does_load_one_is_named(edge) -> None:
    _, guilty = _load(["pathway.days", edge])
    assert set(guilty) == {edge}
