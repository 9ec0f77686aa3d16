"""The scripts on what the program is made of: what they find wrong, and that what is kept here is in step."""

from __future__ import annotations

import importlib.util
import re
import sys
import tomllib
import zipfile
from importlib.metadata import Distribution
from pathlib import Path
from types import ModuleType

import pytest

from pathway import __version__

ROOT = Path(__file__).parents[3]


def script(name: str, folder: str = "supply") -> ModuleType:
    pytest.importorskip("packaging", reason="packaging is not installed: it reads the locks")
    found = importlib.util.spec_from_file_location(f"{folder}_{name}", ROOT / ".ci" / folder / f"{name}.py")
    assert found
    assert found.loader
    module = importlib.util.module_from_spec(found)
    sys.modules[found.name] = module
    found.loader.exec_module(module)
    return module


class Written(Distribution):
    """A package of which only the metadata is there."""

    def __init__(self, metadata: str) -> None:
        self._text = f"Metadata-Version: 2.1\nName: made\nVersion: 1\n{metadata}\n"

    def read_text(self, filename: str) -> str | None:
        return self._text if filename == "METADATA" else None

    def locate_file(self, path: object) -> Path:
        return Path(str(path))


class TestLicences:
    @pytest.mark.parametrize(
        ("metadata", "said"),
        [
            ("License-Expression: MIT\nLicense: other", "MIT"),
            ("License: BSD", "BSD"),
            (
                "License: " + "a whole text " * 20 + "\nClassifier: License :: OSI Approved :: MIT License",
                "MIT License",
            ),
            (
                "License: Dual License\nClassifier: License :: OSI Approved :: BSD License\n"
                "Classifier: License :: OSI Approved :: Apache Software License",
                "BSD License or Apache Software License",
            ),
            ("Classifier: Programming Language :: C", ""),
        ],
    )
    def test_the_licence_is_what_the_package_says(self, metadata, said) -> None:
        assert script("licences").licence_of(Written(metadata)) == said

    def test_a_package_without_one_and_a_table_without_terms_are_faults(self, monkeypatch, tmp_path) -> None:
        licences = script("licences")
        monkeypatch.setattr(licences, "licence_of", lambda found: "" if found.name == "click" else "MIT")
        empty = tmp_path / "terms.toml"
        empty.write_text('[[kind]]\nterms = "none"\nfiles = ["growth/gone.toml"]\n', encoding="utf-8")
        monkeypatch.setattr(licences, "DATA", empty)
        _, wrong = licences.text()
        assert "click: found no licence in its metadata or files; ask its authors, or leave it out" in wrong
        assert "rules/growth/values.toml: found no terms, expected it in terms.toml" in wrong
        assert "terms.toml: rules/growth/gone.toml is not there; take it out" in wrong

    def test_a_table_worked_out_from_data_names_data_place_licence_and_what_is_carried(self) -> None:
        licences = script("licences")
        rows, wrong = licences.derived()
        assert wrong == []
        assert all(len(row.split(" | ")) == 5 for row in rows)
        text = licences.OUT.read_text(encoding="utf-8")
        assert {"growth/maturing_of_references.toml", "growth/population_size.toml"} <= licences.worked_out()
        assert [row for row in rows if row not in text] == []

    def test_such_a_table_without_its_row_and_a_row_without_a_field_are_faults(self, monkeypatch, tmp_path) -> None:
        licences = script("licences")
        short = tmp_path / "terms.toml"
        short.write_text(
            '[[derived]]\nfiles = ["growth/gone.toml"]\ndata = "a"\nfound = "b"\nlicence = "c"\n', encoding="utf-8"
        )
        monkeypatch.setattr(licences, "DATA", short)
        _, wrong = licences.derived()
        assert "terms.toml: [[derived]] of growth/gone.toml: found no `carried`, expected it in words" in wrong
        assert "terms.toml: rules/growth/gone.toml is not there; take it out" in wrong
        assert (
            "rules/growth/population_size.toml: was worked out from data, expected a [[derived]] in terms.toml" in wrong
        )

    def test_the_file_names_every_package_of_the_lock_with_a_licence(self) -> None:
        licences = script("licences")
        rows = licences.kept()
        assert sorted(rows) == licences.locked()
        assert all(row.split("|")[2].strip() for row in rows.values())


class TestDigests:
    def test_both_locks_fix_the_same_versions(self) -> None:
        assert script("hashes").faults() == []

    @pytest.mark.parametrize(
        ("before", "after", "said"),
        [("click==8", "click==7", "Python 3.11: click is 7"), ("pydantic==", "pydantic-not==", "pydantic is not in")],
    )
    def test_another_version_and_a_package_left_out_are_faults(
        self, before, after, said, monkeypatch, tmp_path
    ) -> None:
        hashes = script("hashes")
        text = hashes.HASHES.read_text(encoding="utf-8")
        assert f"\n{before}" in text
        other = tmp_path / hashes.HASHES.name
        other.write_text(text.replace(f"\n{before}", f"\n{after}"), encoding="utf-8")
        monkeypatch.setattr(hashes, "HASHES", other)
        assert any(said in fault for fault in hashes.faults())

    def test_every_line_has_a_digest_and_no_registry_is_named(self) -> None:
        text = script("hashes").HASHES.read_text(encoding="utf-8")
        entries = text.replace(" \\\n", " ").splitlines()
        assert all("--hash=sha256:" in line for line in entries if not line.startswith("#"))
        assert "://" not in text


class TestAdvisories:
    def test_an_advisory_is_told_with_the_version_that_is_without_it(self) -> None:
        known = [
            {"name": "a", "version": "1", "vulns": [{"id": "X-1", "fix_versions": ["1.1"]}]},
            {"name": "b", "version": "2", "vulns": []},
        ]
        assert script("advisories").faults(known) == [
            "a 1: found advisory X-1, expected none; versions without it: 1.1. Raise it in requirements.lock."
        ]

    def test_what_the_source_does_not_know_is_not_called_free_of_advisories(self, capsys) -> None:
        advisories = script("advisories")
        known, unknown = {"name": "a", "version": "1", "vulns": []}, {"name": "b", "skip_reason": "not found"}
        assert advisories.told([known, unknown]).endswith("for 1 packages of requirements.lock; 1 are not known there")
        with pytest.raises(SystemExit) as left:
            advisories.told([unknown])
        assert left.value.code == 0
        assert "skipped, no advisory was looked up" in capsys.readouterr().out


class TestWheel:
    """What the wheel says of itself; `.ci/package/installed.py` looks into the wheel that was built."""

    @staticmethod
    def project() -> dict:
        return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]

    def test_it_is_under_the_licences_of_program_and_fonts_and_names_their_texts(self) -> None:
        assert self.project()["license"] == "Apache-2.0 AND OFL-1.1"
        first, second = ((ROOT / file).read_text(encoding="utf-8") for file in self.project()["license-files"])
        assert "Apache License" in first
        assert "SIL OPEN FONT LICENSE Version 1.1" in second

    def test_every_font_lies_beside_the_licence_of_fonts(self) -> None:
        folders = {file.parent.relative_to(ROOT) for file in (ROOT / "rules").rglob("*.ttf")}
        assert folders == {Path(file).parent for file in self.project()["license-files"] if file != "LICENSE"}

    def test_no_licence_stands_in_a_classifier_and_no_address_that_is_not_ours(self) -> None:
        assert not any(one.startswith("License ::") for one in self.project()["classifiers"])
        assert "urls" not in self.project()
        assert "://" not in str(self.project())

    def test_the_extra_of_the_tests_has_every_other_extra(self) -> None:
        extras = self.project()["optional-dependencies"]
        named = next(word for word in extras["test"] if word.startswith("limb-pathway["))
        assert sorted(named.removeprefix("limb-pathway[").removesuffix("]").split(",")) == sorted(
            set(extras) - {"test"}
        )

    @pytest.mark.parametrize("name", ["hashes", "licences"])
    def test_locks_and_licences_know_every_extra(self, name: str) -> None:
        assert set(script(name).EXTRAS) == set(self.project()["optional-dependencies"]) - {"test"}

    @pytest.mark.parametrize(
        ("left_out", "said"),
        [
            ("x.dist-info/licenses/LICENSE", "found no x.dist-info/licenses/LICENSE"),
            ("x.dist-info/licenses/rules/fonts/LICENSE.txt", "found no x.dist-info/licenses/rules/fonts/LICENSE.txt"),
            ("pathway/py.typed", "found no pathway/py.typed"),
            ("Apache-2.0 AND OFL-1.1", "found the licence MIT, expected Apache-2.0 AND OFL-1.1"),
            ("nothing", ""),
        ],
    )
    def test_a_wheel_that_lacks_one_of_them_is_named(self, left_out: str, said: str, tmp_path: Path) -> None:
        licence = "MIT" if left_out.startswith("Apache") else "Apache-2.0 AND OFL-1.1"
        inside = ["x.dist-info/licenses/LICENSE", "x.dist-info/licenses/rules/fonts/LICENSE.txt", "pathway/py.typed"]
        inside.append("pathway/shipped_data/rules/LICENCES.md")
        with zipfile.ZipFile(tmp_path / "x.whl", "w") as made:
            made.writestr("x.dist-info/METADATA", f"Metadata-Version: 2.4\nName: x\nLicense-Expression: {licence}\n")
            for name in inside:
                if name != left_out:
                    made.writestr(name, "")
        assert "; ".join(script("installed", "package").about(tmp_path / "x.whl")).startswith(said)
        assert bool(script("installed", "package").about(tmp_path / "x.whl")) == bool(said)


class TestCiting:
    """What DEVELOPERS.md says of versions is true of this one."""

    def test_the_version_to_cite_and_the_newest_of_the_changes_are_this_one(self) -> None:
        text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
        citing, changes = text.split("\n## Citing\n")[1].split("\n## Changes\n")
        assert set(re.findall(r"version (?:= \{)?(\d+\.\d+\.\d+)", citing)) == {__version__}
        assert re.findall(r"^### (\d+\.\d+\.\d+)", changes, re.MULTILINE)[0] == __version__

    def test_the_changes_are_the_last_chapter(self) -> None:
        text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
        assert re.findall(r"^## (.+)", text, re.MULTILINE)[-1] == "Changes"
