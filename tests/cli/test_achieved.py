"""From the sheet that was used to the error of the next plan, as a clinic does it at the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pathway.cli.main import main
from pathway.protocol.load import load_protocol

CHILDREN = ("rowan-02", "ash-01", "willow-03")
SIZES = {
    "neck_shaft_angle_deg": 90,
    "femoral_version_deg": 0,
    "femoral_neck_length_mm": 28,
    "femoral_shaft_width_mm": 14,
    "neck_wire_length_mm": 30,
    "neck_width_mm": 16,
    "femur_length_mm": 150,
    "hip_adduction_deg": 30,
    "implant_deg": 130,
}
DONE, FILM, LATER = "2026-12-01", "2027-02-01", "2027-03-01"
OSTEOTOMY = "proximal_femoral_osteotomy"
ROTATION = "osteotomy_error_rotation_deg"


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

    def sheet(self, child: str) -> tuple[Path, str]:
        """Return the file of a child's sheet as it is used, and the side."""
        sized = [word for name, value in SIZES.items() for word in ("--set", f"{name}={value}")]
        text = self.told("worksheet", "osteotomy", child, "--on", DONE, "--json", *sized)
        file = self.folder / f"{child}.json"
        file.write_text(text, encoding="utf-8")
        return file, json.loads(text)["side"]

    def operated(self, child: str, *, off: float) -> None:
        """Enter the osteotomy with its sheet, then the film after it, `off` its targets by so many degrees."""
        file, side = self.sheet(child)
        aimed = json.loads(file.read_text(encoding="utf-8"))["numbers"]
        self.told("followup", child, "--on", DONE, "--done", OSTEOTOMY, "--sheet", str(file), "--save")
        shown = {
            "neck_shaft_angle_deg": aimed["neck_shaft_after_deg"] + off,
            "femoral_version_deg": aimed["version_after_deg"] + 4 * off,
            "proximal_femur_flexion_deg": 0,
        }
        found = [word for name, value in shown.items() for word in ("--set", f"{side}.{name}={value:g}")]
        self.told("followup", child, "--on", FILM, *found, "--save")


@pytest.fixture(scope="module")
def clinic(tmp_path_factory: pytest.TempPathFactory) -> Clinic:
    made = Clinic(tmp_path_factory.mktemp("clinic"))
    made.told("registry", "import", *CHILDREN, "--on", DONE)
    for child, off in zip(CHILDREN, (-6, -8, -7), strict=True):
        made.operated(child, off=off)
    return made


def test_a_child_is_told_what_was_planned_and_what_the_film_shows(clinic: Clinic) -> None:
    text = clinic.told("achieved", "rowan-02", "--on", LATER)
    assert f"{DONE}, implant 130 deg, film of {FILM}" in text
    row = next(line for line in text.splitlines() if "neck-shaft angle" in line)
    planned, reached, off = (float(word) for word in row.split("(deg)")[1].split()[:3])
    assert (reached - planned, off) == pytest.approx((-6, -6))
    assert "the surgeon decides" in text


def test_osteotomies_together_have_mean_spread_and_interval(clinic: Clinic) -> None:
    found = json.loads(clinic.told("registry", "achieved", "--json", "--on", LATER))["corrections"]
    (angle,) = (one for one in found["pooled"] if one["name"] == "neck_shaft_after_deg" and one["implant_deg"] is None)
    assert (angle["operations"], angle["mean"], angle["sd"]) == (3, pytest.approx(-7), pytest.approx(1))
    assert angle["mean_low"] < -7 < angle["mean_high"] < 0
    text = clinic.told("registry", "achieved", "--each", "--on", LATER)
    assert all(words in text for words in ("Implant 130 deg", "All implants", *CHILDREN))


def test_the_error_goes_into_the_rules_and_from_there_into_the_next_sheet(clinic: Clinic) -> None:
    """With the clinic's folder laid over the rules the ranges of the next sheet are wider than without."""
    own = clinic.folder / "own"
    own.mkdir()
    clinic.told("registry", "achieved", "-o", str(own / "osteotomies.toml"), "--on", LATER)
    assert ROTATION in clinic.told("rules", "overlay", str(own))
    ours, theirs = load_protocol().number(ROTATION), load_protocol(own).number(ROTATION)
    assert theirs > ours
    sized = [word for name, value in SIZES.items() for word in ("--set", f"{name}={value}")]
    plain, fed = (
        json.loads(clinic.told("worksheet", "osteotomy", "maple-01", "--on", DONE, "--json", *sized, *more))
        for more in ([], ["--protocol", str(own)])
    )
    wide, wider = (one["ranges"]["version_after_deg"] for one in (plain, fed))
    assert plain["numbers"] == fed["numbers"]
    assert wider["high"] - wider["low"] > wide["high"] - wide["low"]


def test_a_later_file_takes_the_place_of_an_earlier_one_and_of_nothing_else(clinic: Clinic) -> None:
    file = clinic.folder / "errors.toml"
    for _ in range(2):
        clinic.told("registry", "achieved", "-o", str(file), "--on", LATER)
    file.write_text("# rules of somebody else\n", encoding="utf-8")
    refused = clinic.tries("registry", "achieved", "-o", str(file), "--on", LATER)
    assert refused.exit_code == 2
    assert file.read_text(encoding="utf-8") == "# rules of somebody else\n"


def test_with_too_few_nothing_is_written_and_it_is_said_how_few(clinic: Clinic) -> None:
    file = clinic.folder / "few.toml"
    result = clinic.tries("registry", "achieved", "-o", str(file), "--on", DONE)
    assert result.exit_code == 2
    assert "too few osteotomies" in result.output
    assert not file.exists()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"kind": "lift"}, "found lift, expected osteotomy"),
        ({"child": "ash-01"}, "found ash-01, expected rowan-02"),
        ({"side": "right"}, "found right, expected left"),
        ({"numbers": None}, "expected a correction that was worked out"),
    ],
)
def test_a_sheet_that_cannot_have_been_used_is_refused(clinic: Clinic, change: dict[str, object], said: str) -> None:
    file, _ = clinic.sheet("rowan-02")
    other = clinic.folder / "other.json"
    other.write_text(json.dumps(json.loads(file.read_text(encoding="utf-8")) | change), encoding="utf-8")
    result = clinic.tries(
        "followup", "rowan-02", "--on", LATER, "--done", OSTEOTOMY, "--sheet", str(other), "--discard"
    )
    assert result.exit_code == 2
    assert said in result.output


def test_a_sheet_goes_with_an_operation_and_is_json(clinic: Clinic) -> None:
    file, _ = clinic.sheet("rowan-02")
    alone = clinic.tries("followup", "rowan-02", "--on", LATER, "--sheet", str(file), "--discard")
    assert "add --done STAGE" in alone.output
    text = clinic.folder / "sheet.txt"
    text.write_text("Osteotomy", encoding="utf-8")
    wrong = clinic.tries("followup", "rowan-02", "--on", LATER, "--done", OSTEOTOMY, "--sheet", str(text), "--discard")
    assert "worksheet osteotomy CASE --json" in wrong.output
    assert (alone.exit_code, wrong.exit_code) == (2, 2)


def test_a_child_whose_sheet_nobody_kept_is_told_how_to_keep_it(clinic: Clinic) -> None:
    text = clinic.told("achieved", "hazel-08", "--on", LATER)
    assert "--sheet sheet.json" in text
    assert "its sheet was not kept" in text
