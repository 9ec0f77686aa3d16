"""Every screen at every size in every theme, compared cell by cell with what is kept: text and colours.

Made anew with `LIMB_PATHWAY_WRITE_SCREENS=1 pytest tests/tui/screens`; look at the differences before they are kept.
With `LIMB_PATHWAY_DRAW_SCREENS=FOLDER` each is also written there as a picture (SVG) to look at.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from textual.app import App
from textual.pilot import Pilot

from tests.tui.scenes_of import CONFLICT, SCENES, conflict, on_scene
from tests.tui.screens.kept import painted
from tests.tui.screens_of import OPENED, opened, settled, text_of, the_app
from tui.themes import PALETTES

KEPT = Path(__file__).parent / "kept"
WRITE, DRAW = "LIMB_PATHWAY_WRITE_SCREENS", "LIMB_PATHWAY_DRAW_SCREENS"
SIZES = {"80x24": (80, 24), "120x40": (120, 40), "200x50": (200, 50)}


@pytest.mark.parametrize("size", SIZES)
async def test_every_screen_in_every_theme_is_as_kept(size) -> None:
    """One start of the program shows them all: starting it takes longer than looking."""
    app, changed = the_app("rowan-02"), []
    async with app.run_test(size=SIZES[size]) as pilot:
        await settled(pilot)
        for name in OPENED:
            await opened(pilot, name)
            changed += await _changed(app, pilot, name, size)
    assert not changed, "\n".join(changed) + f"\n{WRITE}=1 keeps them as they are now"


@pytest.mark.parametrize("name", SCENES)
async def test_every_state_that_a_child_without_trouble_does_not_show_is_as_kept(name) -> None:
    changed = []
    for size in SIZES:
        async with on_scene(name, SIZES[size]) as pilot:
            changed += await _changed(pilot.app, pilot, name, size)
    assert not changed, "\n".join(changed) + f"\n{WRITE}=1 keeps them as they are now"


@pytest.mark.parametrize("size", SIZES)
async def test_what_is_shown_where_somebody_else_saved_meanwhile_is_as_kept(size, tmp_path) -> None:
    async with conflict(tmp_path, SIZES[size]) as pilot:
        changed = await _changed(pilot.app, pilot, CONFLICT, size)
    assert not changed, "\n".join(changed) + f"\n{WRITE}=1 keeps them as they are now"


async def _changed(app: App[None], pilot: Pilot[None], name: str, size: str) -> list[str]:
    """Return how the screen differs from the one kept, in every theme; with the variables set keep or draw it."""
    shown = [text_of(app)]
    for theme in PALETTES:
        app.theme = theme
        await pilot.pause()
        await pilot.pause()
        shown.append(f"== {theme}\n{painted(app)}")
        if folder := os.environ.get(DRAW):
            app.save_screenshot(f"{name}-{size}-{theme}.svg", folder)
    app.theme = next(iter(PALETTES))
    file, now = KEPT / f"{name}-{size}.txt", "\n".join(shown)
    if os.environ.get(WRITE):
        file.write_text(now, encoding="utf-8")
    elif not file.exists() or file.read_text(encoding="utf-8") != now:
        return [_difference(file, now)]
    return []


def _difference(file: Path, now: str) -> str:
    import difflib

    before = file.read_text(encoding="utf-8") if file.exists() else ""
    lines = difflib.unified_diff(before.splitlines(), now.splitlines(), f"kept {file.name}", "now", n=1, lineterm="")
    return "\n".join(list(lines)[:40])


def test_nothing_is_kept_of_screens_that_are_no_more() -> None:
    assert {file.stem for file in KEPT.glob("*")} == {
        f"{name}-{size}" for name in (*OPENED, *SCENES, CONFLICT) for size in SIZES
    }


async def test_another_colour_of_one_cell_is_seen() -> None:
    app = the_app("rowan-02")
    async with app.run_test(size=(80, 24)) as pilot:
        await settled(pilot)
        before = painted(app)
        await pilot.press("down")
        await pilot.pause()
        assert painted(app) != before
