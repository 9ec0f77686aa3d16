"""The verb that writes or prints the page for the table."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner, Result

from pathway.cli.main import main
from tests.examples import ON, SIZES

ALLOWED = [*SIZES, "--set", "blade_margin_mm=3", "--set", "cut_below_corner_mm=8"]
MM_PER_PT = 25.4 / 72


def run(*more: str, sizes: list[str] = ALLOWED) -> Result:
    return CliRunner(env={"COLUMNS": "100"}).invoke(main, ["theatre", "rowan-02", "--on", str(ON), *sizes, *more])


def test_without_a_file_the_page_is_printed() -> None:
    said = run()
    assert said.exit_code == 0, said.output
    for word in (
        "LEFT FEMUR: plan for the table",
        "rowan-02",
        str(ON),
        "Wire to shaft, front view",
        "Stop if",
        "1 Rel",
    ):
        assert word in said.stdout
    assert "treating surgeon decides" in " ".join(said.stdout.split())
    assert "Invented child" in said.stdout


def test_a_refused_plan_is_printed_with_its_reasons_and_no_steps() -> None:
    said = run("--set", "blade_mm=70")
    assert said.exit_code == 0
    assert "PLAN REFUSED" in said.stdout
    assert "Stop if" not in said.stdout
    assert "Now and after" not in said.stdout


def test_sizes_that_are_missing_are_asked_for() -> None:
    said = run(sizes=[])
    assert said.exit_code != 0
    assert "--set neck_width_mm=" in said.stderr


def test_the_page_and_the_sheet_tell_the_same_numbers() -> None:
    import json

    sheet = CliRunner().invoke(main, ["worksheet", "osteotomy", "rowan-02", "--on", str(ON), *ALLOWED, "--json"])
    numbers = json.loads(sheet.stdout)["numbers"]
    said = run().stdout
    for label, name in (
        ("Wire to shaft, front view", "wire_front_deg"),
        ("Wire, side view", "wire_side_deg"),
        ("Slot about the blade", "slot_deg"),
        ("Rotation between the wires", "rotation_deg"),
        ("Version after", "version_after_deg"),
    ):
        assert f"{abs(numbers[name]):.1f} deg" in next(line for line in said.split("\n") if line.startswith(label)), (
            label
        )


class TestAsSvg:
    @pytest.fixture
    def written(self, tmp_path: Path) -> tuple[Result, list[Path]]:
        said = run("-o", str(tmp_path / "page.svg"))
        return said, sorted(tmp_path.iterdir())

    def test_each_sheet_of_paper_is_a_file_and_all_are_named(self, written) -> None:
        said, files = written
        assert said.exit_code == 0, said.output
        assert [file.name for file in files] == [f"page-{k}.svg" for k in range(1, len(files) + 1)]
        assert len(files) > 1
        assert all(str(file) in said.stderr for file in files)

    def test_a_sheet_has_the_size_of_its_paper(self, written) -> None:
        for file in written[1]:
            root = ElementTree.fromstring(file.read_text())
            wide, high = (float(root.attrib[name].removesuffix("pt")) * MM_PER_PT for name in ("width", "height"))
            assert (wide, high) == pytest.approx((210, 297), abs=0.01)
            left, top, *box = map(float, root.attrib["viewBox"].split())
            assert (left, top) == (0, 0)
            assert [size * MM_PER_PT for size in box] == pytest.approx([wide, high], abs=0.01)

    def test_they_replace_earlier_ones_and_nothing_else(self, tmp_path: Path) -> None:
        assert run("-o", str(tmp_path / "page.svg")).exit_code == 0
        assert run("-o", str(tmp_path / "page.svg")).exit_code == 0
        (tmp_path / "page-2.svg").write_text("<svg>mine</svg>")
        before = (tmp_path / "page-1.svg").read_bytes()
        said = run("-o", str(tmp_path / "page.svg"), "--set", "cut_below_corner_mm=9")
        assert said.exit_code != 0
        assert (tmp_path / "page-1.svg").read_bytes() == before
        assert (tmp_path / "page-2.svg").read_text() == "<svg>mine</svg>"

    def test_what_an_earlier_plan_left_is_named(self, tmp_path: Path) -> None:
        assert run("-o", str(tmp_path / "page.svg")).exit_code == 0
        said = run("-o", str(tmp_path / "page.svg"), "--set", "blade_mm=70")  # refused: one sheet
        assert "page-2.svg" in said.stderr
        assert "of an earlier page" in said.stderr
