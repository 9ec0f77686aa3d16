"""The verbs of the registry: what they print, what they leave behind, and the exit codes."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pathway.cli.main import main
from pathway.registry.store import open_registry
from tests.examples import example


@pytest.fixture
def place(tmp_path: Path) -> str:
    return str(tmp_path / "registry.db")


def run(place: str, *arguments: str, typed: str | None = None) -> Result:
    runner = CliRunner(env={"COLUMNS": "80", "LIMB_PATHWAY_REGISTRY": place, "LOGNAME": "ward-3"})
    result = runner.invoke(main, ["registry", *arguments], input=typed)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def chains(place: str) -> list[str]:
    """Return where each chain ends; the registry's own head tells two registries with the same entries apart."""
    return [line for line in run(place, "heads").stdout.splitlines() if not line.startswith("Registry head ")]


@pytest.fixture
def two(place: str) -> str:
    assert run(place, "import", "rowan-02", "oak-12", "--by", "first surgeon").exit_code == 0
    return place


def test_importing_twice_adds_nothing(place) -> None:
    assert run(place, "import", "rowan-02").stdout == "rowan-02: imported; entry 1.\n"
    assert run(place, "import", "rowan-02").stdout == "rowan-02: nothing new; entry 1.\n"


def test_who_did_it_is_the_account_unless_a_name_is_given(place) -> None:
    run(place, "import", "rowan-02")
    run(place, "import", "oak-12", "--by", "first surgeon")
    with open_registry(place) as store:
        assert {line.child: line.last_by for line in store.children()} == {
            "rowan-02": "ward-3",
            "oak-12": "first surgeon",
        }


def test_one_bad_file_among_many_leaves_the_registry_as_it_was(place, tmp_path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text("schema_version = 1\n[child]\nid = 'x'\n")
    result = run(place, "import", "rowan-02", str(bad))
    assert result.exit_code == 2
    assert "bad.toml" in result.stderr
    assert not Path(place).exists()


def test_what_is_exported_imports_to_the_same_record(two, tmp_path) -> None:
    file = tmp_path / "out.toml"
    assert run(two, "export", "rowan-02", "-o", str(file)).exit_code == 0
    assert run(two, "export", "rowan-02").stdout == file.read_text()
    other = str(tmp_path / "other.db")
    assert run(other, "import", str(file)).exit_code == 0
    with open_registry(other) as store:
        assert store.record("rowan-02") == example("rowan-02")


def test_everything_is_exported_with_its_history_and_imports(two, tmp_path) -> None:
    folder = tmp_path / "out"
    assert run(two, "export", "--all", "--history", "-o", str(folder)).exit_code == 0
    files = sorted(folder.iterdir())
    assert [file.name for file in files] == ["oak-12.json", "rowan-02.json"]
    other = str(tmp_path / "other.db")
    assert run(other, "import", *map(str, files)).exit_code == 0
    assert chains(other) == chains(two) != []


def test_an_export_replaces_no_file(two, tmp_path) -> None:
    (tmp_path / "out.toml").write_text("mine")
    result = run(two, "export", "rowan-02", "-o", str(tmp_path / "out.toml"))
    assert result.exit_code == 2
    assert "found an existing file" in result.stderr
    assert (tmp_path / "out.toml").read_text() == "mine"


def test_the_list_names_children_entries_and_who_was_last(two) -> None:
    result = run(two, "list")
    assert [line.split()[0] for line in result.stdout.splitlines()] == ["oak-12", "rowan-02"]
    assert "1 entry" in result.stdout
    assert "by first surgeon; no plan stored" in result.stdout
    assert "2 children have no stored plan: `limb-pathway registry replan` makes it." in result.stderr
    data = json.loads(run(two, "list", "--json").stdout)
    assert [(one["child"], one["entries"], one["erased"]) for one in data] == [
        ("oak-12", 1, None),
        ("rowan-02", 1, None),
    ]


def test_heads_kept_in_a_file_find_a_registry_that_was_set_back(two, tmp_path) -> None:
    older = Path(two).read_bytes()
    run(two, "import", "elm-01")
    kept = tmp_path / "heads.json"
    assert run(two, "heads", "-o", str(kept)).exit_code == 0
    assert run(two, "verify", "--against", str(kept)).exit_code == 0
    Path(two).write_bytes(older)
    alone = run(two, "verify")
    assert alone.exit_code == 1
    assert "the head that this machine saw last" in alone.stderr
    result = run(two, "verify", "--against", str(kept))
    assert result.exit_code == 1
    assert "elm-01" in result.stderr


def test_a_backup_is_made_verified_against_and_restored(two, tmp_path) -> None:
    copy = tmp_path / "backup.db"
    assert run(two, "backup", str(copy)).exit_code == 0
    assert run(two, "backup", str(copy)).exit_code == 2
    assert run(two, "verify", "--against", str(copy)).exit_code == 0
    assert run(two, "restore", str(copy)).exit_code == 2
    other = str(tmp_path / "other.db")
    assert run(other, "restore", str(copy)).exit_code == 0
    assert chains(other) == chains(two) != []


def test_erasing_asks_first_and_then_says_what_is_left(two) -> None:
    assert "Nothing was erased" in run(two, "erase", "oak-12", "--reason", "asked", typed="n\n").stderr
    assert run(two, "export", "oak-12").exit_code == 0
    done = run(two, "erase", "oak-12", "--reason", "asked", typed="y\n")
    assert "Backups and exports made earlier still contain it" in done.stdout
    assert run(two, "export", "oak-12").exit_code == 2
    assert "oak-12: erased on" in run(two, "verify").stdout
    assert "erased on" in run(two, "list").stdout


def test_a_registry_with_a_key_opens_with_it_only(place, tmp_path) -> None:
    pytest.importorskip("sqlcipher3", reason="sqlcipher3 is not installed: no test on an encrypted registry")
    key = tmp_path / "key"
    key.write_text("a long key\n")
    assert run(place, "import", "rowan-02", "--key-file", str(key)).exit_code == 0
    assert run(place, "list", "--key-file", str(key)).exit_code == 0
    assert run(place, "list", "--ask-key", typed="a long key\n").exit_code == 0
    assert "a long key" not in run(place, "list", "--ask-key", typed="a long key\n").output
    wrong = run(place, "list", "--ask-key", typed="another\n")
    assert (wrong.exit_code, run(place, "list").exit_code) == (2, 2)
    assert "check the key" in wrong.stderr


BAD = {
    "no registry": (["list"], "no registry there"),
    "an address of something else": (["list", "--registry", "mysql://a/b"], "names no registry"),
    "a key file that is not there": (["list", "--key-file", "nowhere"], "no such file, expected the key"),
    "a case that is not there": (["import", "nowhere.toml"], "no such file"),
    "a history that is not there": (["import", "nowhere.json"], "no such file, expected a history"),
    "heads that are not there": (["verify", "--against", "nowhere"], "no such file, expected a file of heads"),
    "a backup that is not there": (["restore", "nowhere.db"], "no registry there"),
    "no child": (["export"], "the id of a child, or --all"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_input_is_told_in_a_sentence_with_exit_2(place, name) -> None:
    arguments, words = BAD[name]
    result = run(place, *arguments)
    assert result.exit_code == 2
    assert words in result.stderr
    assert ", expected " in result.stderr
    assert not Path(place).exists()


PLAN = ["plan", "rowan-02", "--on", "2026-11-25"]


@pytest.mark.parametrize(
    ("arguments", "where"),
    [
        (["--help"], ()),
        (["registry", "--help"], ()),
        (["plan", "rowan-02.toml", *PLAN[2:]], ()),
        (PLAN, ("platformdirs",)),
    ],
)
def test_only_the_registry_loads_a_database(arguments, where, tmp_path) -> None:
    """A bare name may be a child of the registry: where that would lie is asked, and nothing is loaded to read it."""
    ask = "import sys\nfrom pathway.cli.main import main\ntry:\n    main(sys.argv[1:])\nfinally:\n"
    ask += "    print('loaded', *(name for name in ('sqlalchemy', 'platformdirs') if name in sys.modules))"
    surroundings = {**os.environ, "XDG_DATA_HOME": str(tmp_path)}
    command = [sys.executable, "-c", ask, *arguments]
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=surroundings)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1].split() == ["loaded", *where]


@pytest.mark.skipif(sys.platform == "win32", reason="there is no pseudo-terminal on Windows")
def test_a_long_export_shows_how_far_it_is_in_a_terminal_only(two, tmp_path) -> None:
    import os
    import pty

    command = [sys.executable, "-m", "pathway", "registry", "export", "--all", "--registry", two, "-o"]
    master, slave = pty.openpty()
    done = subprocess.run([*command, str(tmp_path / "shown")], stdout=subprocess.PIPE, stderr=slave, check=True)
    os.close(slave)
    shown = os.read(master, 65536).decode()
    os.close(master)
    assert done.stdout == b""
    assert "Writing" in shown
    assert "2 children written" in shown
    quiet = subprocess.run([*command, str(tmp_path / "quiet")], capture_output=True, check=True, text=True)
    assert "Writing" not in quiet.stderr
