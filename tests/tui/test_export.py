"""The team writes a child's papers from the screens: each under its name, where it was said, over no other file."""

from __future__ import annotations

from pathlib import Path

import pytest
from textual.pilot import Pilot

from pathway.children import papers
from pathway.children.surroundings import Surroundings
from pathway.record import Decision
from pathway.views.words.caution import CAUTION, INVENTED
from tests.plans import DAY, files
from tests.tui.registry_of import WHEN, at, open_rowan
from tests.tui.screens_of import settled, text_of, the_app, until
from tests.tui.test_followup import typed
from tui.app import PathwayApp
from tui.screens.export import FOLDER, ExportScreen
from tui.screens.family import FamilyScreen
from tui.widgets.choices import Choices
from tui.widgets.form import Form
from tui.widgets.frame import Notice
from tui.widgets.prose import Prose

ROWAN = {"rowan-02": files()["rowan-02"]}
SIZE = (120, 40)


def screen_of(app: object) -> ExportScreen:
    assert isinstance(app, PathwayApp)
    assert isinstance(app.screen, ExportScreen)
    return app.screen


def became(app: object) -> str:
    return " ".join(said.text for said in screen_of(app).query_one("#became", Prose).said)


async def choose(pilot: Pilot[None], name: str) -> None:
    form = screen_of(pilot.app).query_one(Form)
    form.choose([field.name for field in form.fields].index(name))
    await pilot.pause()


async def write(pilot: Pilot[None], name: str) -> None:
    await choose(pilot, name)
    await pilot.press("enter")
    await settled(pilot)
    await pilot.pause()


async def into(pilot: Pilot[None], folder: Path) -> None:
    await choose(pilot, FOLDER)
    await typed(pilot, str(folder))
    await pilot.pause()


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The current folder of the program, empty."""
    made = tmp_path / "papers"
    made.mkdir()
    monkeypatch.chdir(made)
    return made


@pytest.mark.parametrize(("keys", "opener"), [((), "x"), (("f",), "x"), (("s",), "f8")])
async def test_it_opens_from_timeline_family_and_worksheet_and_leads_back(keys, opener) -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press(*keys)
        await settled(pilot)
        before = app.screen
        await pilot.press(opener)
        await settled(pilot)
        assert "rowan-02: export" in text_of(app)
        assert CAUTION in text_of(app)
        await pilot.press("escape")
        assert app.screen is before


async def test_each_paper_is_shown_with_its_file_name_and_is_written_under_it(folder) -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        app.screen.select("femoral_lengthening_1")
        await pilot.press("x")
        await settled(pilot)
        shown = [field for field in screen_of(app).query_one(Form).fields if field.offered.startswith("rowan-02-")]
        assert list(folder.iterdir()) == []
        for field in shown:
            assert field.offered in " ".join(one.text for one in screen_of(app).query_one(Choices).said)
            await write(pilot, field.name)
            assert f"Wrote {field.offered} in {folder}." in became(app)
        assert {file.name for file in folder.iterdir()} == {field.offered for field in shown}
        assert len(shown) == 6


async def test_an_earlier_paper_is_replaced_on_a_second_enter_and_another_key_takes_the_question_back(folder) -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("x")
        await settled(pilot)
        await write(pilot, "calendar")
        file = folder / "rowan-02-calendar.ics"
        file.write_bytes(file.read_bytes() + b"\r\n")
        kept = file.read_bytes()
        await write(pilot, "calendar")
        assert "Press Enter again to replace it" in screen_of(app).query_one(Notice).words
        assert file.read_bytes() == kept
        await typed(pilot, "2")
        await pilot.press("backspace")
        await write(pilot, "calendar")
        assert file.read_bytes() == kept, "what was typed in between takes the question back"
        await write(pilot, "calendar")
        assert file.read_bytes() != kept


async def test_a_form_is_chosen_by_f4_and_a_name_without_one_is_refused(folder) -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("x")
        await settled(pilot)
        await choose(pilot, "handout")
        await pilot.press("f4")
        await write(pilot, "handout")
        assert [file.name for file in folder.iterdir()] == ["rowan-02-handout-en.html"]
        await typed(pilot, "x")
        await write(pilot, "handout")
        assert "Not written: Family handout: found 'x', expected a name that ends in" in became(app)
        await pilot.press("f6")
        await pilot.pause()
        assert screen_of(app).typed == {}


async def test_a_folder_is_typed_and_kept_for_the_next_paper_and_one_that_is_missing_is_said(folder) -> None:
    other = folder.parent / "other"
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("x")
        await settled(pilot)
        await into(pilot, other)
        await write(pilot, "calendar")
        assert "no such folder" in became(app)
        other.mkdir()
        await write(pilot, "calendar")
        assert [file.name for file in other.iterdir()] == ["rowan-02-calendar.ics"]
        await pilot.press("escape", "f", "x")
        await settled(pilot)
        field = next(field for field in screen_of(app).query_one(Form).fields if field.name == FOLDER)
        assert (field.offered, field.origin) == (str(other), "used last")


async def test_the_language_changes_the_handout_and_its_name(folder) -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("x")
        await settled(pilot)
        await choose(pilot, "language")
        await typed(pilot, "ger")
        await choose(pilot, "handout")
        await pilot.press("f4")
        await write(pilot, "handout")
        text = (folder / "rowan-02-handout-de.html").read_text(encoding="utf-8")
        assert '<html lang="de' in text


async def test_the_worksheet_goes_out_as_it_stands_on_its_screen(folder) -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        app.screen.select("femoral_lengthening_1")
        await pilot.press("s")
        await settled(pilot)
        form = app.screen.query_one(Form)
        form.choose([field.name for field in form.fields].index("amount_mm"))
        await pilot.press(*["backspace"] * 6)
        await typed(pilot, "31")
        sheet = app.screen.sheet
        await pilot.press("f8")
        await settled(pilot)
        await write(pilot, "worksheet.femoral_lengthening_1")
        text = (folder / "rowan-02-worksheet-femoral_lengthening_1.txt").read_text(encoding="utf-8")
        assert sheet is not None
        assert [item.value for item in sheet.inputs if item.origin == "by_hand"] == [31]
        assert text.encode() == papers.sheet_text(sheet, INVENTED)
        assert "31 mm" in text
        assert "1 input set by hand" in " ".join(
            offer.holds for offer in screen_of(app)._offers if offer.name.startswith("worksheet")
        )


async def test_a_child_that_is_edited_is_offered_again_with_the_new_plan() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("x")
        await settled(pilot)
        screen = screen_of(app)
        before = screen._ground_now()
        no = Decision(date=DAY, by="family", kind="decline", stage="femoral_lengthening", reason="no")
        app.edit("rowan-02", "declined", [no])
        await settled(pilot)
        after = screen._ground_now()
        assert before is not None
        assert after is not None
        assert after.plan is not before.plan


async def test_a_child_without_a_plan_has_no_papers_and_is_told_why() -> None:
    app = the_app("ash-01", {"ash-01": 'schema_version = 1\n[child]\nid = "ash-01"\n'})
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("x")
        await settled(pilot)
        assert "nothing to export" in screen_of(app).query_one(Notice).words
        await pilot.press("enter", "down", "f4", "escape")
        assert not isinstance(app.screen, ExportScreen)


async def test_the_summary_of_a_registrys_child_says_what_was_accepted(place, folder) -> None:
    with at(place) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await pilot.press("x")
            await settled(pilot)
            await choose(pilot, "summary")
            await pilot.press("f4")
            await write(pilot, "summary")
    assert "No plan for this child has been accepted yet." in (folder / "rowan-02-summary.html").read_text("utf-8")


async def test_in_a_browser_a_paper_is_handed_over_and_nothing_is_written(folder, monkeypatch) -> None:
    handed: list[tuple[str, bytes]] = []
    monkeypatch.setattr(PathwayApp, "hand_over", lambda _, file, data: handed.append((file, data)))
    app = PathwayApp(ROWAN, DAY, "rowan-02", around=Surroundings(lambda: WHEN, in_browser=True))
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("x")
        await settled(pilot)
        assert FOLDER not in [field.name for field in screen_of(app).query_one(Form).fields]
        assert "hands it to your browser" in became(app)
        await write(pilot, "calendar")
        assert [file for file, _ in handed] == ["rowan-02-calendar.ics"]
        assert handed[0][1].startswith(b"BEGIN:VCALENDAR")
        assert list(folder.iterdir()) == []
        screen_of(app).handed_over("rowan-02-calendar.ics")
        assert "rowan-02-calendar.ics is with the browser now." in became(app)


@pytest.mark.parametrize("columns", [40, 50])
async def test_on_a_phone_every_paper_and_what_became_of_it_can_be_read(columns, folder) -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=(columns, 30)) as pilot:
        await settled(pilot)
        await pilot.press("x")
        await settled(pilot)
        form = screen_of(app).query_one(Form)
        for field in form.fields:
            await choose(pilot, field.name)
            assert field.label in " ".join(text_of(app).split())
        await write(pilot, "calendar")
        assert "Wrote" in text_of(app)
        assert not isinstance(app.screen, FamilyScreen)
        await until(pilot, lambda: "Wrote rowan-02-calendar.ics" in became(app), "what was written")
