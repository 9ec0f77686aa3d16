"""Colours: only in the themes, every text at 4.5 to 1 or more (WCAG 2.2, success criterion 1.4.3)."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from textual.app import App
from textual.color import Color
from textual.command import CommandList
from textual.geometry import Region

from pathway.views.pictures.picture import Role
from tests.plans import files
from tests.tui.screens_of import OPENED, TO_LENGTHS, idle, opened, settled, text_of, the_app, until
from tui.themes import FIRST, PALETTES

ROOT = Path(__file__).parents[2]
GROUNDS = {"ground", "panel", "chosen", Role.BAND50, Role.BAND90}
TEXT = 4.5  # contrast of text, success criterion 1.4.3
DRAWN = 3.0  # contrast of lines and marks, success criterion 1.4.11
LITERAL = re.compile(r"#[0-9a-fA-F]{6}\b|#[0-9a-fA-F]{3}\b|\brgb\(|\bansi_|(?i:color|background): *(?!\$)[a-z#]")


def contrast(first: str, second: str) -> float:
    """Relative luminances (L1 + 0.05) / (L2 + 0.05), WCAG 2.2."""
    lights = sorted(_luminance(Color.parse(colour)) for colour in (first, second))
    return (lights[1] + 0.05) / (lights[0] + 0.05)


def _luminance(colour: Color) -> float:
    parts = [value / 255 for value in colour.rgb]
    linear = [value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4 for value in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("ground", ["ground", "panel"])
@pytest.mark.parametrize("theme", PALETTES)
def test_every_text_role_is_legible_on_background_and_panel(theme, ground) -> None:
    palette = PALETTES[theme]
    for role in set(palette) - GROUNDS - {"chosen_text"}:
        assert contrast(palette[role], palette[ground]) >= TEXT, role
    assert contrast(palette["chosen_text"], palette["chosen"]) >= TEXT


@pytest.mark.parametrize("theme", PALETTES)
def test_lines_and_marks_stand_out_from_the_bands(theme) -> None:
    palette = PALETTES[theme]
    for band in (Role.BAND50, Role.BAND90):
        for role in (Role.MEDIAN, Role.MEDIAN_NATURAL, Role.MEASURED, "cursor"):
            assert contrast(palette[role], palette[band]) >= DRAWN, (role, band)


@pytest.mark.parametrize("theme", PALETTES)
def test_every_role_has_a_colour(theme) -> None:
    assert set(Role) - {Role.TEXT, Role.BLANK} <= set(PALETTES[theme])


@pytest.mark.parametrize("theme", PALETTES)
async def test_every_word_on_every_screen_is_legible(theme) -> None:
    app = the_app("rowan-02", {"rowan-02": files()["rowan-02"], "ash-01": "nonsense"})
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        app.theme = theme
        for name in OPENED:
            await opened(pilot, name)
            words = list(_words(app))
            assert len(words) > 10
            assert not {(name, word, round(ratio, 2)) for word, ratio in words if ratio < TEXT}


@pytest.mark.parametrize("theme", PALETTES)
async def test_every_word_of_the_follow_up_is_legible_also_what_is_wrong(theme) -> None:
    app = the_app("rowan-02", {"rowan-02": files()["rowan-02"]})
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        app.theme = theme
        for keys in (TO_LENGTHS, ("1",), ("2", "1", "backspace", "down"), ("tab",), ("tab", "f4", "down")):
            await pilot.press(*keys)
            await pilot.pause()
            await pilot.pause()
            words = list(_words(app))
            assert len(words) > 10
            assert not {(word, round(ratio, 2)) for word, ratio in words if ratio < TEXT}


@pytest.mark.parametrize("theme", PALETTES)
async def test_a_faulty_file_a_search_and_the_commands_are_legible(theme) -> None:
    app = the_app("rowan-02", {"rowan-02": files()["rowan-02"], "ash-01": "nonsense"})
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        app.theme = theme
        for keys in (("escape",), ("x",), ("escape", "a", "enter")):
            await pilot.press(*keys)
            await idle(app)
            await pilot.pause()
            assert not {(keys, word, round(ratio, 2)) for word, ratio in _words(app) if ratio < TEXT}
        await pilot.press("ctrl+p")
        await until(pilot, lambda: app.screen.query_one(CommandList).option_count > 3, "the commands")
        found = app.screen.query_one(CommandList)
        words = list(_words(app, found.region))  # the screen behind is dimmed on purpose
        assert len(words) > 3
        assert not {(word, round(ratio, 2)) for word, ratio in words if ratio < TEXT}


def _words(app: App[None], within: Region | None = None) -> Iterator[tuple[str, float]]:
    rows = app.screen._compositor.render_strips()
    if within is not None:
        rows = [row.crop(within.x, within.right) for row in rows[within.y : within.bottom]]
    for row in rows:
        for text, style, _ in row:
            if re.search(r"\w", text) and style and style.color and style.bgcolor:
                yield text, contrast(style.color.get_truecolor().hex, style.bgcolor.get_truecolor().hex)


PAPER = ROOT / "pathway" / "views" / "drawings"
"""What is drawn for paper has a palette of its own: no theme of a screen reaches it."""


def test_no_colour_is_named_outside_the_themes() -> None:
    places = [*(ROOT / "tui").rglob("*.py"), *(ROOT / "tui").rglob("*.tcss"), *(ROOT / "pathway/views").rglob("*.py")]
    named = [
        f"{path.name}: {match.group()}"
        for path in places
        if path.name != "themes.py" and PAPER not in path.parents
        for match in LITERAL.finditer(path.read_text(encoding="utf-8"))
    ]
    assert len(places) > 20
    assert named == []


def test_the_search_for_colours_finds_one() -> None:
    assert LITERAL.search("Title { color: red; }")
    assert LITERAL.search('"#a0b1c2"')
    assert not LITERAL.search("Title { color: $role-accent; }")


async def test_only_our_own_themes_can_be_chosen() -> None:
    app = the_app()
    async with app.run_test():
        assert set(app.available_themes) == set(PALETTES)
        assert app.theme == FIRST


async def test_without_colour_the_bands_are_shades(monkeypatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    app = the_app("rowan-02")
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        assert app.no_color
        text = text_of(app)
        assert "░" in text
        assert "▒" in text
        assert not app.current_theme.ansi
