"""A plan waits for no library that it does not use; only the order of the stages waits for the graph library."""

from __future__ import annotations

import datetime
import json
import subprocess
import sys
from pathlib import Path

import pytest

from pathway.registry.exchange import import_record
from pathway.registry.journal.entry import StoredPlan
from pathway.registry.store import open_registry
from tests.examples import FOLDER, ON, example

WHEN = datetime.datetime(2026, 11, 25, 8, 0, tzinfo=datetime.UTC)
OTHERS = ("scipy", "textual", "tomlkit", "icalendar", "fhir")
_ASK = """
import json, sys
from pathway.cli.main import main
try:
    main(json.loads(sys.argv[1]))
except SystemExit:
    pass
print(json.dumps([name for name in json.loads(sys.argv[2]) if name in sys.modules]), file=sys.stderr)
"""


def _loaded(arguments: list[str], names: tuple[str, ...], folder: Path) -> list[str]:
    command = [sys.executable, "-c", _ASK, json.dumps(arguments), json.dumps(names)]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=folder)
    found: list[str] = json.loads(done.stderr.splitlines()[-1])
    return found


def test_making_and_printing_a_plan_loads_no_library_that_it_does_not_use(tmp_path: Path) -> None:
    arguments = ["plan", str(FOLDER / "rowan-02.toml"), "--on", str(ON)]
    assert _loaded(arguments, ("networkx", *OTHERS), tmp_path) == []


def test_what_asks_for_the_order_of_the_stages_loads_the_graph_library_and_no_other(tmp_path: Path) -> None:
    arguments = ["prerequisites", str(FOLDER / "rowan-02.toml"), "--on", str(ON)]
    assert _loaded(arguments, ("networkx", *OTHERS), tmp_path) == ["networkx"]


def test_a_family_s_document_waits_for_no_library_that_it_does_not_use(tmp_path: Path) -> None:
    arguments = ["handout", str(FOLDER / "elm-01.toml"), "--on", str(ON), "-o", str(tmp_path / "out.pdf")]
    others = ("networkx", "numpy.ma", "jinja2", "pathway.registry.journal.fold")
    assert _loaded(arguments, (*others, *OTHERS), tmp_path) == []


def test_the_rooms_that_plan_load_without_the_graph_library() -> None:
    code = (
        "import sys, pathway.plan.make, pathway.casefile, pathway.views.words.plan, pathway.questions.why; "
        "import pathway.protocol.load, pathway.plan.graph, pathway.views.words.prerequisites; "
        f"print([name for name in {('networkx', *OTHERS)} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize(
    "arguments",
    [
        ["--help"],
        ["plan", "--help"],
        ["rules", "list"],
        ["plan", "no-such-child.toml"],
        ["plan", "broken.toml"],
        ["why", "broken.toml", "femoral_lengthening"],
        ["registry", "list", "--registry", "none.db"],
    ],
    ids=" ".join,
)
def test_help_lists_and_errors_load_no_graph_library(arguments: list[str], tmp_path: Path) -> None:
    (tmp_path / "broken.toml").write_text("[child]\nid = 3\n", encoding="utf-8")
    assert _loaded(arguments, ("networkx",), tmp_path) == []


@pytest.mark.parametrize("words", [["list"], ["due", "--on", str(ON)], ["list", "--json"]], ids=" ".join)
def test_lists_of_the_registry_load_no_rules_and_no_plan(words: list[str], tmp_path: Path) -> None:
    file = tmp_path / "clinic.db"
    with open_registry(str(file), create=True) as store:
        head = import_record(store, example("rowan-02"), who="a", when=WHEN).head
        kept = {"next": "Hip", "see_again_by": None, "measure": [], "opens": [], "arrest_last": None, "conflict": False}
        store.store_plans([StoredPlan("rowan-02", head, "1", "d" * 64, ON, {**kept, "changes_on": "2027-01-01"})])
    rooms = ("pathway.protocol.model", "pathway.plan.model", "pathway.casefile.read", *OTHERS)
    assert _loaded(["registry", *words, "--registry", str(file)], rooms, tmp_path) == []
