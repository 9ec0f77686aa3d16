"""No key that is shown does nothing, no command leads nowhere, no screen is a dead end."""

from __future__ import annotations

import pytest
from textual.pilot import Pilot

from pathway.views.words.caution import CAUTION, INVENTED
from pathway.views.words.keys import KEY_WORDS
from pathway.views.words.wrapping import wrap
from tests.plans import files
from tests.tui.screens.kept import painted
from tests.tui.screens_of import OPENED, idle, opened, settled, text_of, the_app, until
from tui.app import PathwayApp
from tui.screens.base import OwnScreen
from tui.screens.children import ChildrenScreen
from tui.themes import PALETTES
from tui.widgets.frame import Title
from tui.widgets.key_line import KeyLine

ROWAN = {"rowan-02": files()["rowan-02"]}
SMALL = (80, 24)
MOVES = ("", "age", "choice", "field", "gates", "page", "scroll", "zoom")
"""What leaves a screen as it was opened but for where one looks: the next key needs no new start."""


def seen(app: PathwayApp) -> tuple[object, ...]:
    """Return what a person sees: which screen, its words, its colours."""
    return app.screen, text_of(app), painted(app)


def with_action(app: PathwayApp, action: str) -> list[str]:
    """Return the keys of a screen that do the same thing, also the other way round: PgUp and PgDn."""
    name = action.split("(")[0]
    return [key for key, bound in app.screen.active_bindings.items() if bound.binding.action.split("(")[0] == name]


async def changes(pilot: Pilot[None], app: PathwayApp, key: str) -> bool:
    before = seen(app)
    await pilot.press(key)
    await idle(app)
    await pilot.pause()
    await pilot.pause()
    return seen(app) != before


@pytest.mark.parametrize("name", OPENED)
async def test_every_key_that_is_shown_does_what_can_be_seen(name) -> None:
    app, silent, last = the_app("rowan-02", ROWAN), [], ""
    async with app.run_test(size=SMALL) as pilot:
        await settled(pilot)
        await opened(pilot, name)
        bound = app.screen.active_bindings
        shown = [bound[key.key].binding for key in app.screen.query_one(KeyLine)._keys]
        assert shown[-1].action == "quit"
        for binding in shown[:-1]:
            if last not in MOVES:
                await opened(pilot, name)
            last = binding.action.split("(")[0]
            for key in with_action(app, binding.action):
                if await changes(pilot, app, key):
                    break
            else:
                silent.append(f"{binding.key} {binding.description}")
    assert silent == []


async def test_every_key_of_the_table_has_its_action() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SMALL) as pilot:
        await settled(pilot)
        for name in OPENED:
            await opened(pilot, name)
            for bound in app.screen.active_bindings.values():
                if isinstance(bound.node, OwnScreen) and "." not in bound.binding.action:
                    name_of_it = f"action_{bound.binding.action.split('(')[0]}"
                    assert hasattr(bound.node, name_of_it) or hasattr(app, name_of_it), bound.binding


async def test_escape_leads_back_from_every_screen_to_the_children() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SMALL) as pilot:
        await settled(pilot)
        for name in OPENED:
            await opened(pilot, name)
            for _ in range(6):
                if isinstance(app.screen, ChildrenScreen):
                    break
                depth = len(app.screen_stack)
                await pilot.press("escape")
                assert len(app.screen_stack) < depth, name
            assert isinstance(app.screen, ChildrenScreen), name


async def test_quitting_works_from_every_screen() -> None:
    for name in OPENED:
        app = the_app("rowan-02", ROWAN)
        async with app.run_test(size=SMALL) as pilot:
            await settled(pilot)
            await opened(pilot, name)
            await pilot.press("ctrl+q")
            await pilot.pause()
            assert not app.is_running or app._exit, name


@pytest.mark.parametrize("size", [(80, 24), (200, 50)])
async def test_title_and_caution_stand_on_every_screen(size) -> None:
    app, titles = the_app("rowan-02", ROWAN), set()
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        for name in OPENED:
            await opened(pilot, name)
            rows = text_of(app).split("\n")
            title = str(app.screen.query_one(Title).render())
            assert rows[0].strip() == title.strip(), name
            below = " ".join(" ".join(rows[1:3]).split())
            assert below.startswith(f"{CAUTION} · {INVENTED}"), name
            titles.add(title)
    assert len(titles) >= len({screen.kind for screen in OPENED.values()})


@pytest.mark.parametrize("start", ["timeline", "details", "family", "children", "sources"])
async def test_every_command_leads_somewhere(start) -> None:
    app, without_effect = the_app("rowan-02"), []
    async with app.run_test(size=SMALL, notifications=True) as pilot:
        await settled(pilot)
        await opened(pilot, start)
        titles = [command.title for command in app.get_system_commands(app.screen)]
        assert {"Children", "Timeline of elm-01", "Help", "Quit", "Colours: light"} <= set(titles)
        assert len(titles) == len(set(titles))
        for title in titles:
            if title == "Quit" or title.split(" of ")[0].casefold() == start:
                continue  # quitting has a test of its own; the others lead to where one is
            if title.startswith("Timeline of ") and title != "Timeline of elm-01":
                continue  # one child is like another
            app.clear_notifications()
            app.theme = "pathway-light" if title == "Colours: dark" else "pathway-dark"
            await opened(pilot, start)
            before = seen(app)
            next(c for c in app.get_system_commands(app.screen) if c.title == title).callback()
            await idle(app)
            await pilot.pause()
            await pilot.pause()
            if seen(app) == before:
                without_effect.append(title)
    assert without_effect == []


async def test_the_palette_finds_a_command_by_its_letters() -> None:
    app = the_app("rowan-02", ROWAN)
    async with app.run_test(size=SMALL) as pilot:
        await settled(pilot)
        await pilot.press("ctrl+p")
        await pilot.pause()
        await pilot.press(*"fmly")
        await until(pilot, lambda: "The plan in plain words (key f)" in text_of(app), "the command")
        await pilot.press("escape", "escape")


def test_the_help_names_every_screen_that_has_keys_of_its_own() -> None:
    told = {head for head, _ in KEY_WORDS}
    assert {"Everywhere", "Children", "Timeline", "Prerequisites", "Details", "Courses", "What if", "Worksheet"} <= told
    assert {"Family view", "Sources", "A decision", "Accept", "History", "Due", "Go to a field"} <= told
    for _, lines in KEY_WORDS:
        for key, words in lines:
            assert key
            assert len(wrap(words, 60)) <= 2


def test_every_theme_can_be_chosen_by_a_command() -> None:
    app = the_app("rowan-02", ROWAN)
    titles = {command.title for command in app.get_system_commands(ChildrenScreen())}
    assert {f"Colours: {name.removeprefix('pathway-').replace('-', ' ')}" for name in PALETTES} <= titles
