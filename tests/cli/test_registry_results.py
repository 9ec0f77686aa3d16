"""A clinic asks for its own results: plans accepted, visits entered, and what came of what was said."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pathway.cli.main import main
from pathway.views.words.caution import CAUTION

DAY, LATER, ASKED = "2026-11-25", "2027-11-25", "2028-01-01"
CHILDREN = ("rowan-02", "juniper-03", "elm-01")


class Clinic:
    """A clinic with a registry of its own in a folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.runner = CliRunner(env={"LIMB_PATHWAY_REGISTRY": str(folder / "registry.db"), "COLUMNS": "100"})

    def tries(self, *words: str) -> Result:
        return self.runner.invoke(main, list(words))

    def told(self, *words: str) -> str:
        result = self.tries(*words)
        assert result.exit_code == 0, result.output
        return result.stdout

    def results(self, *words: str) -> str:
        return self.told("registry", "results", "--on", ASKED, *words)


@pytest.fixture(scope="module")
def clinic(tmp_path_factory: pytest.TempPathFactory) -> Clinic:
    made = Clinic(tmp_path_factory.mktemp("clinic"))
    made.told("registry", "import", *CHILDREN, "--on", DAY)
    for child in CHILDREN[:2]:
        made.told("accept", child, "--on", DAY)
    legs = {"left.femur": 150, "left.tibia": 130, "right.femur": 180, "right.tibia": 140}
    lengths = [word for bone, mm in legs.items() for word in ("--set", f"{bone}_length_mm={mm}")]
    made.told("followup", "rowan-02", "--on", LATER, *lengths, "--save")
    return made


def test_what_was_seen_stands_beside_what_the_accepted_plan_said(clinic: Clinic) -> None:
    printed = json.loads(clinic.results("--json", "--each"))
    found = printed["results"]
    assert (found["children"], found["accepted"], found["revisions"]) == (3, 2, 2)
    (pair,) = found["each"]
    assert (pair["child"], pair["revision"], pair["stated_on"], pair["seen_on"]) == ("rowan-02", 1, DAY, LATER)
    assert pair["seen_mm"] == 40.0
    assert pair["off_mm"] == pytest.approx(pair["seen_mm"] - pair["predicted_mm"], abs=0.06)
    assert pair["low_mm"] < pair["predicted_mm"] < pair["high_mm"]
    assert printed["caution"] == CAUTION


def test_of_three_children_the_page_tells_no_rate(clinic: Clinic) -> None:
    said = clinic.results()
    assert "Too few children for a rate" in said
    assert "rowan-02" not in said
    assert "rowan-02, plan 1" in clinic.results("--each")


def test_a_rule_that_changed_since_changes_nothing_of_what_was_predicted(clinic: Clinic) -> None:
    own = clinic.folder / "own"
    own.mkdir()
    (own / "card.toml").write_text(
        '[[value]]\nid = "goal_band_mm"\nvalue = 15\nunit = "mm"\nbecause = "ours"\nprovenance = "practice"\n'
        'sources = ["common_practice"]\n',
        encoding="utf-8",
    )
    before, after = (clinic.results("--json", "--each", *more) for more in ((), ("--protocol", str(own))))
    assert json.loads(before)["results"]["each"] == json.loads(after)["results"]["each"]


@pytest.mark.parametrize("form", ["html", "md", "pdf"])
def test_the_page_is_written_with_its_caution(clinic: Clinic, form: str) -> None:
    file = clinic.folder / f"results.{form}"
    clinic.results("-o", str(file))
    data = file.read_bytes()
    if form == "pdf":
        assert data.startswith(b"%PDF-")
    else:
        text = " ".join(data.decode().replace("\\", "").split())
        assert CAUTION in text
        assert "what accepted plans said, and what came" in text


def test_a_table_to_be_pooled_has_no_days_and_says_so(clinic: Clinic) -> None:
    refused = clinic.tries("registry", "table", "lengthenings", "--dates", "--on", ASKED)
    assert refused.exit_code != 0
    assert "leave the option out" in refused.stderr
    file = clinic.folder / "lengthenings.csv"
    clinic.told("registry", "table", "lengthenings", "--on", ASKED, "-o", str(file))
    assert file.read_text(encoding="utf-8").startswith("sex,diagnosis,congenital,bone,number,age_years")
    schema = json.loads(file.with_suffix(".schema.json").read_text(encoding="utf-8"))
    assert "no days and no ids" in schema["description"]


def test_an_empty_registry_says_how_to_begin(tmp_path: Path) -> None:
    empty = Clinic(tmp_path)
    empty.told("registry", "import", "elm-01", "--on", DAY)
    assert "limb-pathway accept CASE" in empty.results()
