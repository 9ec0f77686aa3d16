"""One way to name a child: each verb takes file, folder, registry id and example, and says which it took."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from pathway.children import resolve
from pathway.children.resolve import Located, RegistryAt
from pathway.cli.main import main
from pathway.problems import cannot
from tests.plans import files

ON = ("--on", "2026-11-25")
CHILD = ("case", "cases", "one")
ID = "rowan-02"


def child_verbs(group: click.Group = main) -> Iterator[tuple[str, click.Command]]:
    """Yield the verbs that take a child; those of the group `registry` take what the registry keeps or is to keep."""
    for name, verb in group.commands.items():
        if any(parameter.name in CHILD for parameter in verb.params):
            yield name, verb


VERBS = dict(child_verbs())


def words_of(verb: click.Command, child: str, folder: Path) -> list[str]:
    """Return the words that ask a verb about a child, with what else it must be given."""
    words = []
    for parameter in verb.params:
        if isinstance(parameter, click.Argument):
            if parameter.name in CHILD:
                words.append(child)
            elif isinstance(parameter.type, click.Choice):
                words.append(parameter.type.choices[0])
            elif parameter.required:
                words.append("hip_preparation")
        elif parameter.required:
            words += [parameter.opts[0], str(folder / ("made.svg" if verb.name == "picture" else "made.pdf"))]
    return [*words, "--before", "2026-11-20"] if verb.name == "compare" else words


def run(*words: str, registry: Path | None = None, data: Path | None = None) -> Result:
    surroundings = {"XDG_DATA_HOME": str(data), "LIMB_PATHWAY_REGISTRY": None if registry is None else str(registry)}
    return CliRunner(env=surroundings).invoke(main, list(words))


@pytest.fixture(scope="module")
def clinic(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A registry with a child of an example's id, born earlier than the example, and one of another id."""
    folder = tmp_path_factory.mktemp("clinic")
    text = files()["hazel-08"]
    for name in (ID, "maple-09"):
        (folder / f"{name}.toml").write_text(text.replace('id = "hazel-08"', f'id = "{name}"'), encoding="utf-8")
    cases = [str(folder / f"{name}.toml") for name in (ID, "maple-09")]
    result = run("registry", "import", *cases, *ON, registry=folder / "clinic.db")
    assert result.exit_code == 0, result.output
    return folder / "clinic.db"


def test_every_verb_on_a_child_is_walked() -> None:
    assert {"plan", "why", "growth", "timeline", "prerequisites", "family", "sources", "alternatives"} < set(VERBS)
    assert {"worksheet", "followup", "compare", "handout", "summary", "picture", "calendar", "fhir"} < set(VERBS)
    assert {"open", "serve", "children"} < set(VERBS)
    without = [name for name, verb in VERBS.items() if not any("--registry" in each.opts for each in verb.params)]
    assert without == []


def test_every_verb_takes_all_ways_to_name_a_child(monkeypatch, tmp_path, clinic) -> None:
    """Each verb is stopped as soon as it has found its child in the one place that looks for it."""
    real = resolve.locate

    def stopping(word: Path, registry: RegistryAt) -> Located:
        found = real(word, registry)
        raise cannot(f"{found.origin} {(found.file or Path(found.word)).name}", "found")

    monkeypatch.setattr(resolve, "locate", stopping)
    monkeypatch.chdir(tmp_path)
    (tmp_path / "alone").mkdir()
    for file in ("mine.toml", "alone/one.toml"):
        (tmp_path / file).write_text(files()["oak-12"], encoding="utf-8")
    wanted = {
        "mine.toml": "file mine.toml",
        ID: f"registry {ID}",
        "maple-09": "registry maple-09",
        "oak-12": "example oak-12",
        f"{ID}.toml": f"example {ID}.toml",
    }
    wrong = []
    for name, verb in VERBS.items():
        # Verbs on many children open a folder themselves.
        many = any(parameter.name == "cases" for parameter in verb.params)
        for word, answer in (wanted if many else {**wanted, "alone": "file one.toml"}).items():
            result = run(name, *words_of(verb, word, tmp_path), registry=clinic)
            if (result.exit_code, result.stderr) != (1, f"{answer}: found.\n"):
                wrong.append((name, word, result.output, result.exception))
    assert wrong == []


def test_where_two_could_be_meant_it_is_said_which_was_taken(clinic, tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    at = RegistryAt(str(clinic))
    assert resolve.locate(Path("maple-09"), at).notes == ()
    assert resolve.locate(Path("oak-12"), at).notes == ()
    example = f"the example of that name is {ID}.toml"
    assert resolve.locate(Path(ID), at).notes == (f"{ID}: taken from the registry; {example}.",)
    (tmp_path / ID).mkdir()
    (tmp_path / ID / "mine.toml").write_text(files()["oak-12"], encoding="utf-8")
    found = resolve.locate(Path(ID), at)
    assert (found.origin, found.file) == ("file", Path(ID, "mine.toml"))
    (note,) = found.notes
    assert note.startswith(f"{ID}: taken from the folder of that name; the registry's child of that id is found from")
    assert example in note


def test_an_id_means_the_same_child_for_every_verb(clinic) -> None:
    kept = run("plan", ID, "--json", *ON, registry=clinic)
    assert f"{ID}: taken from the registry" in kept.stderr
    example = run("plan", f"{ID}.toml", "--json", *ON, registry=clinic)
    ages = [json.loads(one.stdout)["child"]["age_years"] for one in (kept, example)]
    assert ages[0] > 7 > 3 > ages[1]
    assert run("children", ID, *ON, registry=clinic).stdout.count("8 y") == 1


def test_what_is_wrong_with_the_registry_is_said_before_an_example_is_taken(tmp_path) -> None:
    broken = tmp_path / "broken.db"
    broken.write_bytes(b"no database" * 100)
    found = resolve.locate(Path("oak-12"), RegistryAt(str(broken)))
    assert found.origin == "example"
    assert len(found.notes) == 1
    assert "broken.db" in found.notes[0]


def test_a_folder_of_several_is_no_one_child(tmp_path) -> None:
    for name in ("a", "b"):
        (tmp_path / f"{name}.toml").write_text(files()["oak-12"], encoding="utf-8")
    result = run("plan", str(tmp_path), *ON)
    assert result.exit_code == 2
    assert "found a folder of 2 case files, expected a case file" in result.stderr
