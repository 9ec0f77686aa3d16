"""What is typed or changed in a browser and not saved is there at the next visit; what was left on purpose is not."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest
from textual.pilot import Pilot

from pathway.children.file_storage import FileStorage
from pathway.children.left_behind import LeftBehind
from pathway.children.surroundings import Surroundings
from pathway.protocol.load import load_protocol
from pathway.record import Decision
from tests.examples import FOLDER
from tests.plans import DAY, record
from tests.tui.registry_of import WHEN
from tests.tui.screens_of import settled, text_of, until
from tests.tui.test_followup import form_of, typed
from tui.app import PathwayApp
from tui.left_work import LeftEdits, LeftWork, as_text, of_text, with_edits
from tui.opened import ChildList, Entry, Session

SIZE = (120, 40)
ROWAN = "rowan-02"
DECLINED = Decision(date=DAY, by="family", kind="decline", stage="femoral_lengthening", reason="no")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "clinic"
    made.mkdir()
    for name in (ROWAN, "oak-12"):
        (made / f"{name}.toml").write_text((FOLDER / f"{name}.toml").read_text("utf-8"), "utf-8")
    return made


def visit(folder: Path, *, child: str | None = None) -> PathwayApp:
    """Return the screens of one visit of a browser: each keeps what is not saved in the same file."""
    files = {file.stem: file for file in sorted(folder.glob("*.toml"))}
    storage = FileStorage(files, load_protocol(), DAY)
    around = Surroundings(lambda: WHEN, in_browser=True, left=LeftBehind(folder.parent / "left.json"))
    return PathwayApp(dict.fromkeys(files, ""), DAY, child, load_protocol(), storage, around)


def left(folder: Path) -> LeftWork:
    return of_text(LeftBehind(folder.parent / "left.json").read())


def close_page(app: PathwayApp) -> None:
    """End the screens as the server does when the page is closed: nobody is asked."""
    from textual.messages import ExitApp

    app.post_message(ExitApp())


async def decline(pilot: Pilot[None]) -> None:
    app = pilot.app
    assert isinstance(app, PathwayApp)
    app.edit(ROWAN, "Declined: femoral lengthening", [DECLINED])
    await settled(pilot)


async def test_an_edit_that_was_not_saved_is_there_again_told_undoable_and_can_be_saved(folder) -> None:
    first = visit(folder, child=ROWAN)
    async with first.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await decline(pilot)
        close_page(first)
    assert [words for words, _ in left(folder).edits[ROWAN].edits] == ["Declined: femoral lengthening"]
    again = visit(folder)
    async with again.run_test(size=SIZE) as pilot:
        await settled(pilot)
        assert f"Not saved when the page was closed, and here again: {ROWAN}: 1 change." in again.came_back
        assert "Not saved when the page was closed" in text_of(again)
        entry = again.child_list[ROWAN]
        assert entry.unsaved
        assert entry.session is not None
        assert entry.session.record.decisions[-1] == DECLINED
        assert [edit.sentence for edit in entry.session.done] == ["Declined: femoral lengthening"]
        again.save(ROWAN)
        await settled(pilot)
        await settled(pilot)
        assert not again.child_list[ROWAN].unsaved, again.child_list[ROWAN].told
        again.keep_unsaved()
        assert not left(folder)
    assert "femoral_lengthening" in (folder / f"{ROWAN}.toml").read_text("utf-8")


async def test_what_was_typed_in_forms_and_not_kept_is_there_again(folder) -> None:
    first = visit(folder, child=ROWAN)
    async with first.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("v")
        await typed(pilot, "122")
        await pilot.press("escape", "escape", "f7")
        await settled(pilot)
        await typed(pilot, "maple-03")
        close_page(first)
    again = visit(folder, child=ROWAN)
    async with again.run_test(size=SIZE) as pilot:
        await settled(pilot)
        assert "what was typed in its follow-up" in again.came_back
        assert "a new child as typed" in again.came_back
        await pilot.press("v")
        assert "122" in form_of(again).typed.values()
        await pilot.press("escape", "escape", "f7")
        await settled(pilot)
        assert again.newcomer == {"id": "maple-03"}


async def test_a_visit_that_nobody_looked_at_passes_on_what_it_took_up(folder) -> None:
    first = visit(folder, child=ROWAN)
    async with first.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await decline(pilot)
        close_page(first)
    kept = left(folder)
    second = visit(folder)
    async with second.run_test(size=SIZE):
        close_page(second)
    assert left(folder) == kept


async def test_it_is_kept_while_the_page_is_open_so_that_a_killed_session_loses_nothing(folder) -> None:
    app = visit(folder, child=ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        assert not left(folder)
        await decline(pilot)
        await until(pilot, lambda: ROWAN in left(folder).edits, "what is not saved")
        app.undo(ROWAN)
        await settled(pilot)
        await until(pilot, lambda: not left(folder), "that nothing is left")


async def test_who_leaves_without_saving_finds_nothing_again(folder) -> None:
    app = visit(folder, child=ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await decline(pilot)
        await until(pilot, lambda: left(folder), "what is not saved")
        await pilot.press("ctrl+q")
        await pilot.pause()
        await pilot.press("ctrl+q")
    assert not left(folder)
    assert not (folder.parent / "left.json").exists()


async def test_only_the_account_of_the_server_can_read_what_is_left(folder) -> None:
    app = visit(folder, child=ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await decline(pilot)
        close_page(app)
    assert (folder.parent / "left.json").stat().st_mode & 0o777 == 0o600


async def test_a_child_that_is_gone_meanwhile_is_told_and_its_edits_stay(folder) -> None:
    first = visit(folder, child=ROWAN)
    async with first.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await decline(pilot)
        close_page(first)
    (folder / f"{ROWAN}.toml").unlink()
    again = visit(folder)
    async with again.run_test(size=SIZE) as pilot:
        await settled(pilot)
        assert again.child_list[ROWAN].problems
        close_page(again)
    assert ROWAN in left(folder).edits


class TestText:
    def test_it_reads_back_to_the_same(self) -> None:
        known = record(ROWAN)
        after = known.model_copy(update={"decisions": (*known.decisions, DECLINED)})
        work = LeftWork(
            {ROWAN: {"left.femur_length_mm": "122"}}, {"id": "maple-03"}, {ROWAN: LeftEdits(known, (("a", after),))}
        )
        assert of_text(as_text(work)) == work
        assert as_text(LeftWork()) == ""

    @pytest.mark.parametrize("text", ["", "{", "[]", '{"form": 2}', '{"form": 1}', '{"form": 1, "drafts": 3}', "null"])
    def test_any_other_text_is_nothing(self, text) -> None:
        assert of_text(text) == LeftWork()


class TestOthersMeanwhile:
    def test_edits_come_on_top_of_what_others_saved(self) -> None:
        known = record(ROWAN)
        mine = known.model_copy(update={"decisions": (*known.decisions, DECLINED)})
        other = Decision(
            date=DAY - datetime.timedelta(1), by="team", kind="prefer", prefer="fewest_operations", reason="so"
        )
        theirs = known.model_copy(update={"decisions": (*known.decisions, other)})
        read = ChildList((Entry(ROWAN, "", session=Session(theirs), kept=theirs),))
        entry = with_edits(read, ROWAN, LeftEdits(known, (("mine", mine),)))[ROWAN]
        assert entry.session is not None
        assert entry.session.record.decisions == (*known.decisions, other, DECLINED)
        assert entry.kept == theirs
        assert "On top of what others saved meanwhile" in entry.session.done[-1].sentence

    def test_what_others_saved_just_so_is_no_edit_any_more(self) -> None:
        known = record(ROWAN)
        mine = known.model_copy(update={"decisions": (*known.decisions, DECLINED)})
        read = ChildList((Entry(ROWAN, "", session=Session(mine), kept=mine),))
        assert not with_edits(read, ROWAN, LeftEdits(known, (("mine", mine),)))[ROWAN].unsaved
