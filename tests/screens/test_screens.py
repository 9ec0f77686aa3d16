"""Pictures of the screens, and the same screens as text, which outlives a change of the picture's format.

Made anew with `pytest tests/screens --snapshot-update` and `LIMB_PATHWAY_WRITE_TEXT=1`.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from textual.pilot import Pilot

from tests.tui.screens_of import settled, text_of, the_app

TEXTS = Path(__file__).parent / "text"
WRITE = "LIMB_PATHWAY_WRITE_TEXT"
SIZES = {"80x24": (80, 24), "120x40": (120, 40), "200x50": (200, 50)}
KEYS = {
    "children": ("escape",),
    "road": ("down", "down", "shift+right", "shift+right", "shift+right", "shift+right"),
    "before": ("down", "down", "down", "down", "b"),
    "details": ("down", "down", "down", "down", "enter"),
}


def check(snap_compare: object, name: str, keys: tuple[str, ...], size: tuple[int, int], theme: str) -> None:
    app = the_app("rowan-02")
    seen: list[str] = []

    async def walk(pilot: Pilot[None]) -> None:
        app.theme = theme
        await settled(pilot)
        await pilot.press(*keys)
        await pilot.pause()
        await pilot.pause()
        seen.append(text_of(app))

    same_picture = snap_compare(app, terminal_size=size, run_before=walk)  # type: ignore[operator]
    file = TEXTS / f"{name}.txt"
    if os.environ.get(WRITE):
        file.write_text(seen[0], encoding="utf-8")
    assert seen[0] == file.read_text(encoding="utf-8"), f"the text of {name} changed; {WRITE}=1 writes it anew"
    assert same_picture


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("screen", KEYS)
def test_the_dark_theme_at_every_size(snap_compare, screen, size) -> None:
    check(snap_compare, f"{screen}-{size}", KEYS[screen], SIZES[size], "pathway-dark")


@pytest.mark.parametrize("theme", ["pathway-light", "pathway-high-contrast"])
def test_the_road_in_the_other_themes(snap_compare, theme) -> None:
    check(snap_compare, f"road-120x40-{theme}", KEYS["road"], SIZES["120x40"], theme)
