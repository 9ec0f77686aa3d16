"""The app on the example children, planned once a run; helpers to wait, to read and to press."""

from __future__ import annotations

import datetime
from collections.abc import Mapping

import pytest
from textual.app import App
from textual.pilot import Pilot

from pathway.protocol.model import Protocol
from tests.plans import DAY, files
from tui import planner
from tui.app import PathwayApp

_MADE: dict[tuple[str, str, datetime.date], planner.Made | tuple[str, ...]] = {}
_make = planner.make


def made_once(name: str, text: str, on: datetime.date, given: Protocol | None = None) -> planner.Made | tuple[str, ...]:
    if given is not None:
        return _make(name, text, on, given)
    key = (name, text, on)
    if key not in _MADE:
        _MADE[key] = _make(name, text, on)
    return _MADE[key]


@pytest.fixture(autouse=True)
def plain_surroundings(monkeypatch: pytest.MonkeyPatch) -> None:
    """Take away what would change a picture, and plan each file once."""
    for name in ("NO_COLOR", "TEXTUAL_THEME", "TEXTUAL_ANIMATIONS"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(planner, "make", made_once)


def the_app(child: str | None = None, case_files: Mapping[str, str] | None = None) -> PathwayApp:
    return PathwayApp(case_files if case_files is not None else files(), DAY, child)


async def settled(pilot: Pilot[None]) -> None:
    """Wait until every child is planned and shown."""
    app = pilot.app
    assert isinstance(app, PathwayApp)
    await app.workers.wait_for_complete()
    while any(entry.waiting for entry in app.shelf.entries):
        await pilot.pause()
        await app.workers.wait_for_complete()
    await pilot.pause()
    await pilot.pause()


def text_of(app: App[None]) -> str:
    """Return the screen as text, row by row."""
    rows = app.screen._compositor.render_strips()
    return "\n".join("".join(segment.text for segment in row).rstrip() for row in rows) + "\n"
