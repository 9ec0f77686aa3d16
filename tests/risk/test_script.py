"""The fitting script: series left out and counts of a file are foretold without being fitted; faults are sentences."""

from __future__ import annotations

import re
from pathlib import Path

from tests.risk.scripts import ROOT, run

NINETY = re.compile(r"(\d+) of (\d+) counts lie in their range of 90 in 100 \((\d+) of 100\)")
ROW = """
[[harm]]
id = "made_up.fracture"
what = "fracture"
treatment = "lengthening"
series = "made_up"
kind = "share"
n = {n}
of = 60
population = "made up for this test"
diagnosis = "congenital"
congenital_share = 1.0
bone = "femur"
device = "frame"
percent = {{ mean = 18 }}
family_words = "Made up."
directness = "direct"
indirect = "made up"
provenance = "judgement"
sources = ["own_judgement"]
"""


def test_a_few_series_are_foretold_by_fits_that_have_not_seen_them() -> None:
    # A quick part of the whole: `--leave-out` without names does all 35 series (some minutes).
    done = run("--leave-out", "paley_1990", "launay_2013", "burke_2017")
    assert done.returncode == 0, done.stderr
    found = NINETY.search(done.stdout)
    assert found is not None
    assert int(found[2]) == 6
    # Fractures of new bone alone, far below all other series (Burke NG et al. J Child Orthop 2017): a miss.
    assert [line for line in done.stdout.splitlines() if line.startswith("!")] == [
        line for line in done.stdout.splitlines() if "burke_2017" in line
    ]


def test_counts_of_a_file_are_foretold_and_change_no_table(tmp_path: Path) -> None:
    table = ROOT / "rules" / "harms" / "pooled.toml"
    before = table.read_bytes()
    file = tmp_path / "rows.toml"
    other = ROW.format(n=5).replace("made_up.fracture", "other").replace('"fracture"', '"length_lost"')
    all_broke = ROW.format(n=60).replace("made_up.fracture", "made_up.all")
    file.write_text(ROW.format(n=10) + all_broke + other, encoding="utf-8")
    done = run("--rows", str(file))
    assert done.returncode == 0, done.stderr
    found = NINETY.search(done.stdout)
    assert found is not None and (found[1], found[2]) == ("1", "2")
    assert [line[:2] for line in done.stdout.splitlines() if "made_up" in line] == ["  ", "! "]
    assert "- other: not distinguished" in done.stdout
    assert table.read_bytes() == before


def test_what_cannot_be_foretold_is_refused_with_file_and_count(tmp_path: Path) -> None:
    file = tmp_path / "rows.toml"
    for text, says in (
        (ROW.format(n=70), "70 of 60"),
        (ROW.format(n=10).replace("percent = { mean = 18 }\n", ""), "without a percent"),
        (ROW.format(n=10).replace('"fracture"', '"break"'), "what"),
        ("[[harm]\n", "TOML"),
    ):
        file.write_text(text, encoding="utf-8")
        done = run("--rows", str(file))
        assert done.returncode == 1
        assert "rows.toml" in done.stderr and says in done.stderr
        assert "Traceback" not in done.stderr


def test_a_missing_file_and_an_unknown_series_are_refused() -> None:
    for arguments, says in ((("--rows", "nowhere.toml"), "nowhere.toml"), (("--leave-out", "nobody"), "'nobody'")):
        done = run(*arguments)
        assert done.returncode == 1
        assert says in done.stderr and "Traceback" not in done.stderr
