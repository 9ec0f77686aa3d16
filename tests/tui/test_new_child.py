"""The team begins a child on the screens: in an empty registry, in a folder of files, or where no place is yet."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from textual.pilot import Pilot
from textual.widgets import Input

from pathway.casefile.read_and_check import read_and_check
from pathway.children.file_storage import FileStorage
from pathway.children.registry_storage import RegistryStorage
from pathway.children.served import served
from pathway.children.surroundings import Surroundings
from pathway.protocol.load import load_protocol
from pathway.registry.store import open_registry
from pathway.views.words.caution import CAUTION, INVENTED
from tests.examples import FOLDER
from tests.plans import DAY, files
from tests.tui.registry_of import WHEN, at, registry
from tests.tui.screens_of import NEWCOMER, settled, text_of, the_app, until
from tests.tui.test_followup import typed
from tui.app import PathwayApp
from tui.opened import row
from tui.screens.children import ChildrenScreen
from tui.screens.leave import LeaveScreen
from tui.screens.new_child import NewChildScreen
from tui.screens.timeline import TimelineScreen
from tui.widgets.form import Form
from tui.widgets.frame import Notice
from tui.widgets.prose import Prose

SIZE = (120, 40)
CHILD = "maple-03"


@contextmanager
def empty(folder: Path) -> Iterator[PathwayApp]:
    with open_registry(str(folder / "empty.db"), create=True) as store:
        yield PathwayApp({}, DAY, storage=RegistryStorage(store, "ward-3", lambda: WHEN))


def screen_of(app: object) -> NewChildScreen:
    assert isinstance(app, PathwayApp)
    assert isinstance(app.screen, NewChildScreen)
    return app.screen


def beside(app: object) -> str:
    return " ".join(said.text for said in screen_of(app).query_one("#plan", Prose).said)


async def planned(pilot: Pilot[None]) -> None:
    screen = screen_of(pilot.app)
    await until(pilot, lambda: screen.found.record is None or screen.made, "the plan of the new child")
    await pilot.pause()


async def kept(pilot: Pilot[None]) -> None:
    await pilot.press("f5")
    await settled(pilot)
    await settled(pilot)


def case_file(folder: Path, name: str = "rowan-02") -> Path:
    made = folder / f"{name}.toml"
    made.write_text((FOLDER / "rowan-02.toml").read_text("utf-8"), "utf-8")
    return made


def storage(folder: Path, **more: object) -> FileStorage:
    found = {file.stem: file for file in folder.glob("*.toml")}
    return FileStorage(found, load_protocol(), DAY, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("key", ["n", "enter", "f7"])
async def test_an_empty_registry_leads_to_the_form_and_the_child_saved_there_is_opened(tmp_path, key) -> None:
    with empty(tmp_path) as app:
        async with app.run_test(size=SIZE) as pilot:
            await settled(pilot)
            assert "No children are stored in empty.db yet" in text_of(app)
            await pilot.press(key)
            await settled(pilot)
            await pilot.press(*NEWCOMER)
            await planned(pilot)
            await kept(pilot)
            assert isinstance(app.screen, TimelineScreen)
            assert app.screen.child == CHILD
            assert app.screen.plan is not None
            assert "Saved in empty.db by ward-3: maple-03, a new child (entry 1)." in text_of(app)
            await pilot.press("escape")
            assert isinstance(app.screen, ChildrenScreen)
            assert CHILD in text_of(app)
            assert app.screen.query_one(Input).value == ""
    assert "maple-03  1 entry, last 2026-11-25 by ward-3" in registry(tmp_path / "empty.db", "list")


async def test_the_plan_stands_beside_the_form_as_soon_as_there_is_enough_for_one(tmp_path) -> None:
    with empty(tmp_path) as app:
        async with app.run_test(size=SIZE) as pilot:
            await settled(pilot)
            await pilot.press("n")
            await settled(pilot)
            assert "no name" in beside(app)
            await typed(pilot, CHILD)
            assert "Still needed: Sex, Date of birth, Diagnosis, Short leg." in beside(app)
            assert "keep" not in {key.binding.action for key in app.screen.active_bindings.values() if key.enabled}
            await pilot.press("f6", *["up"] * 12, *NEWCOMER)
            await planned(pilot)
            assert "The plan as typed" in beside(app)
            assert "Measure first" in beside(app)
            assert "Nothing is kept yet" in beside(app)
            assert f"{CAUTION} · {INVENTED}" in text_of(app)
    assert "maple-03" not in registry(tmp_path / "empty.db", "list")


async def test_an_unlikely_length_is_asked_back_once(tmp_path) -> None:
    with empty(tmp_path) as app:
        async with app.run_test(size=SIZE) as pilot:
            await settled(pilot)
            await pilot.press("n")
            await settled(pilot)
            await pilot.press(*NEWCOMER, *["up"] * 3, *["backspace"] * 3)
            await typed(pilot, "620")
            await planned(pilot)
            assert "Please check:" in beside(app)
            await kept(pilot)
            assert "press F5 again" in screen_of(app).query_one(Notice).words
            await kept(pilot)
            assert isinstance(app.screen, TimelineScreen)


async def test_an_id_that_is_there_is_refused_in_the_form_and_one_that_came_meanwhile_when_it_is_saved(place) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await settled(pilot)
            await pilot.press("f7")
            await settled(pilot)
            await typed(pilot, "oak-12")
            assert "open that child, or give this one another id" in beside(app)
            await pilot.press("f6", *["up"] * 12, *NEWCOMER)
            await planned(pilot)
            record = screen_of(app).found.record
            assert record is not None
            RegistryStorage(store, "ward-4", lambda: WHEN).add(record)
            await kept(pilot)
            assert "Not saved: maple-03: is an id that clinic.db has already" in screen_of(app).query_one(Notice).words
            assert screen_of(app).typed["id"] == CHILD
    assert "maple-03  1 entry, last 2026-11-25 by ward-4" in registry(place, "list")


async def test_in_a_folder_the_child_is_a_new_case_file_that_reads_back(tmp_path) -> None:
    case_file(tmp_path)
    app = PathwayApp({"rowan-02": ""}, DAY, storage=storage(tmp_path))
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("f7")
        await settled(pilot)
        await pilot.press(*NEWCOMER)
        await planned(pilot)
        record = screen_of(app).found.record
        await kept(pilot)
        assert isinstance(app.screen, TimelineScreen)
        assert app.screen.plan is not None
        assert "Saved in maple-03.toml, a new case file." in text_of(app)
    text = (tmp_path / "maple-03.toml").read_text("utf-8")
    assert read_and_check(text, "maple-03.toml", load_protocol(), DAY) == record


async def test_a_case_file_that_is_there_is_never_written_over(tmp_path) -> None:
    case_file(tmp_path)
    app = PathwayApp({"rowan-02": ""}, DAY, storage=storage(tmp_path))
    (tmp_path / "maple-03.toml").write_text("# notes of somebody\n")
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("f7")
        await settled(pilot)
        await pilot.press(*NEWCOMER)
        await planned(pilot)
        await kept(pilot)
        assert "an existing file" in screen_of(app).query_one(Notice).words
    assert (tmp_path / "maple-03.toml").read_text() == "# notes of somebody\n"


def test_an_id_that_a_file_of_another_name_gives_its_child_is_taken(tmp_path) -> None:
    from pathway.children.storage import SaveFailed
    from tests.plans import record

    case_file(tmp_path, "another-name")
    with pytest.raises(SaveFailed, match=r"rowan-02: is an id that .* has already"):
        storage(tmp_path).add(record("rowan-02"))
    assert [file.name for file in tmp_path.iterdir()] == ["another-name.toml"]


def test_a_browser_gets_no_file_beside_what_was_served(tmp_path) -> None:
    from pathway.children.storage import SaveFailed
    from tests.plans import record

    case = case_file(tmp_path)
    with pytest.raises(SaveFailed, match="a case file of the folder that is served"):
        storage(tmp_path, served=served([case])).add(record("oak-12"))
    storage(tmp_path, served=served([tmp_path])).add(record("oak-12"))
    assert (tmp_path / "oak-12.toml").exists()


async def test_beside_example_children_a_registry_begins_with_the_first_child(tmp_path) -> None:
    begun: list[RegistryStorage] = []
    with open_registry(str(tmp_path / "own.db"), create=True) as store:

        def begin() -> RegistryStorage:
            begun.append(RegistryStorage(store, "ward-3", lambda: WHEN))
            return begun[-1]

        around = Surroundings(lambda: WHEN, begin=begin)
        app = PathwayApp({"rowan-02": files()["rowan-02"]}, DAY, around=around)
        async with app.run_test(size=SIZE) as pilot:
            await settled(pilot)
            await pilot.press("f7")
            await settled(pilot)
            assert begun == []
            await pilot.press(*NEWCOMER)
            await planned(pilot)
            await kept(pilot)
            assert isinstance(app.screen, TimelineScreen)
            assert "Saved in own.db by ward-3: maple-03" in text_of(app)
            await pilot.press("escape")
            await settled(pilot)
            assert [entry.name for entry in app.child_list.entries] == [CHILD]
            assert "The examples are no longer listed" in text_of(app)
            await pilot.press("enter", "escape")
            await settled(pilot)
            assert "The examples are no longer listed" not in text_of(app), "it is said once"
            await pilot.press("f7")
            await settled(pilot)
            assert len(begun) == 1


async def test_the_list_says_of_a_new_child_at_once_that_its_plan_was_accepted(tmp_path) -> None:
    with empty(tmp_path) as app:
        async with app.run_test(size=SIZE) as pilot:
            await settled(pilot)
            await pilot.press("n")
            await settled(pilot)
            await pilot.press(*NEWCOMER)
            await planned(pilot)
            await kept(pilot)
            assert row(app.child_list[CHILD]).accepted == "not yet"
            await pilot.press("a", "enter")
            await settled(pilot)
            await settled(pilot)
            assert row(app.child_list[CHILD]).accepted == str(WHEN.date())


async def test_where_nothing_can_be_kept_it_is_said_and_what_was_typed_stays(tmp_path) -> None:
    app = the_app(case_files={"rowan-02": files()["rowan-02"]})
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("f7")
        await settled(pilot)
        await pilot.press(*NEWCOMER)
        await planned(pilot)
        await pilot.press("f5")
        await pilot.pause()
        assert "examples are not kept" in screen_of(app).query_one(Notice).words
        await pilot.press("escape", "f7")
        await settled(pilot)
        assert screen_of(app).typed["id"] == CHILD


async def test_leaving_with_a_child_typed_and_not_saved_is_asked(place) -> None:
    with at(place) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            await settled(pilot)
            await pilot.press("f7")
            await settled(pilot)
            await typed(pilot, CHILD)
            await pilot.press("ctrl+q")
            await pilot.pause()
            assert isinstance(app.screen, LeaveScreen)
            assert "A new child" in text_of(app)
            assert "F7 on the list opens it again" in text_of(app)


@pytest.mark.parametrize("columns", [40, 50])
async def test_on_a_phone_every_field_can_be_filled_in_and_the_plan_read(tmp_path, columns) -> None:
    with empty(tmp_path) as app:
        async with app.run_test(size=(columns, 30)) as pilot:
            await settled(pilot)
            await pilot.press("n")
            await settled(pilot)
            form = screen_of(app).query_one(Form)
            for place in range(len(form.fields)):
                form.choose(place)
                await pilot.pause()
                asked = form.fields[place].label
                assert asked in " ".join(text_of(app).split())
            form.choose(0)
            await pilot.press(*NEWCOMER)
            await planned(pilot)
            assert "The plan as typed" in text_of(app)
