"""Where a paper goes: into a folder that is there, over nothing but an earlier one of its kind, and that is asked."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.examples import FOLDER
from tests.tui.export.test_offers import edge, ground, offered
from tui.export.going_out import Answer, Wanted, answer_to
from tui.export.offers import Offer


def put(folder: Path, name: str = "summary", file: str = "out.md", **more: object) -> Answer:
    return answer_to(Wanted(offered(name, ground()), file, folder, **more), edge())  # type: ignore[arg-type]


def test_a_paper_is_written_for_its_owner_alone_and_it_is_said_where(tmp_path) -> None:
    done = put(tmp_path)
    assert (done.state, done.said) == ("written", (f"Wrote out.md in {tmp_path}.",))
    assert (tmp_path / "out.md").stat().st_mode & 0o777 == 0o600


def test_an_earlier_one_of_its_kind_is_replaced_only_when_that_was_asked(tmp_path) -> None:
    put(tmp_path)
    (tmp_path / "out.md").write_text((tmp_path / "out.md").read_text().replace("Planning", "Plotting"))
    before = (tmp_path / "out.md").read_text()
    asked = put(tmp_path)
    assert (asked.state, (tmp_path / "out.md").read_text()) == ("asked", before)
    assert put(tmp_path, replace=True).state == "written"
    assert (tmp_path / "out.md").read_text() != before


def test_a_case_file_and_anything_else_stay_even_where_replacing_was_wished(tmp_path) -> None:
    case, letter = tmp_path / "rowan-02.md", tmp_path / "letter.md"
    case.write_text((FOLDER / "rowan-02.toml").read_text())
    letter.write_text("# A letter\n")
    for file in (case, letter):
        kept = file.read_text()
        done = put(tmp_path, file=file.name, replace=True)
        assert (done.state, file.read_text()) == ("refused", kept)
        assert "--replace" not in " ".join(done.said)


def test_what_children_are_read_from_is_never_written_over(tmp_path) -> None:
    done = put(tmp_path)
    refused = put(tmp_path, replace=True, inputs=(tmp_path / "out.md",))
    assert (done.state, refused.state) == ("written", "refused")
    assert "what this is read from" in refused.said[0]


def test_a_second_case_file_of_a_day_is_not_written_over_the_first(tmp_path) -> None:
    assert put(tmp_path, "case", "rowan-02.toml").state == "written"
    assert put(tmp_path, "case", "rowan-02.toml", replace=True).state == "refused"


@pytest.mark.parametrize("file", ["", "a/b.md", "..", "../out.md", "out.exe"])
def test_a_name_that_is_no_file_name_is_refused_in_a_sentence(tmp_path, file) -> None:
    done = put(tmp_path, file=file)
    assert (done.state, list(tmp_path.iterdir())) == ("refused", [])
    assert done.said[0].endswith(".")


def test_a_folder_that_is_not_there_is_said(tmp_path) -> None:
    done = put(tmp_path / "none")
    assert (done.state, "no such folder" in done.said[0]) == ("refused", True)


def test_without_a_folder_it_is_made_for_the_browser_and_written_nowhere(tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    done = put(None)  # type: ignore[arg-type]
    assert (done.state, done.data.startswith(b"# "), list(tmp_path.iterdir())) == ("made", True, [])


def test_a_fault_of_the_program_is_said_and_nothing_is_written(tmp_path) -> None:
    good = offered("summary", ground())

    def broken(*_: object) -> object:
        raise RuntimeError("no such thing")

    bad = Offer(good.name, good.label, good.stem, good.forms, good.holds, good.kind, broken)  # type: ignore[arg-type]
    done = answer_to(Wanted(bad, "out.md", tmp_path), edge())
    assert (done.state, list(tmp_path.iterdir())) == ("refused", [])
    assert "internal error, nothing was written" in done.said[0]
