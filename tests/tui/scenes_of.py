"""States of the screens that one child without trouble does not show: each with its own children and its way there."""

from __future__ import annotations

import datetime
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from textual.pilot import Pilot

from pathway.record import Decision
from pathway.registry.exchange import import_record
from pathway.registry.journal.payloads import decision_entry
from pathway.registry.store import open_registry
from tests.plans import DAY, files, record
from tests.tui.registry_of import CHILDREN, WHEN, at, enter_length, open_rowan, saved
from tests.tui.screens_of import settled, the_app

CHOSEN = """
[[operation]]
date = 2026-11-18
kind = "femoral_lengthening"
side = "left"
achieved_mm = 38

[[decision]]
date = 2026-11-12
by = "family"
kind = "choose_course"
course = "{}"
reason = "one lengthening and no more"
"""
"""A lengthening that was done after a course was chosen."""


@dataclass(frozen=True)
class Scene:
    """A state of the screens: its child, its case file (the example's where none is given), the keys that lead there.

    The keys start at the child's timeline, or at the list of children where `listed`.
    """

    child: str
    keys: tuple[str, ...] = ()
    case: Callable[[], str] | None = None
    listed: bool = False

    def files(self) -> Mapping[str, str]:
        """Return the case files that the program is started with."""
        own = files()[self.child] if self.case is None else self.case()
        return {self.child: own} if not self.listed else {**files(), self.child: own}


@cache
def faulty() -> str:
    """Return a case file with three faults: a length in cm, a side that is none, a word that the rules do not know."""
    text = files()["ash-01"]
    changed = text.replace('affected_side = "left"', 'affected_side = "links"').replace('sex = "', 'gender = "')
    assert changed != text
    return changed + "\n[[visit]]\ndate = 2026-13-01\n"


@cache
def carried_out(course: str) -> str:
    """Return a child whose chosen course was begun, or carried out to its end."""
    return files()["oak-12"] + CHOSEN.format(course)


SCENES = {
    "faulty_list": Scene("ash-01", case=faulty, listed=True),
    "faulty_file": Scene("ash-01", case=faulty),
    "no_lengths": Scene("elm-01"),
    "no_lengths_courses": Scene("elm-01", ("c",)),
    "no_lengths_visit": Scene("elm-01", ("v",)),
    "close_call": Scene("oak-12"),
    "close_call_courses": Scene("oak-12", ("c",)),
    "carried_out": Scene("oak-12", case=lambda: carried_out("one_femoral")),
    "carried_out_courses": Scene("oak-12", ("c",), lambda: carried_out("one_femoral")),
    "both_sided": Scene("fern-05"),
    "both_sided_courses": Scene("fern-05", ("c",)),
    "prosthetic": Scene("lark-01"),
    "prosthetic_courses": Scene("lark-01", ("c",)),
    "both_roads_courses": Scene("birch-04", ("c",)),
    "complications": Scene("rowan-02", ("v", "tab", *["down"] * 7, "f4")),
    "asked_back": Scene("rowan-02", ("v", "down", "down", "1", "2", "full_stop", "1")),
    # A new state joins here.
}
CONFLICT = "save_conflict"
"""Somebody else saved meanwhile: it needs a registry, see `conflict`."""


THEIRS = Decision(date=DAY, by="family", kind="decline", reason="no second leg", stage="contralateral_growth_arrest")
LATER = WHEN + datetime.timedelta(minutes=30)


@asynccontextmanager
async def on_scene(name: str, size: tuple[int, int]) -> AsyncIterator[Pilot[None]]:
    """Start the program on a scene and go there."""
    scene = SCENES[name]
    app = the_app(None if scene.listed else scene.child, scene.files())
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        for key in scene.keys:
            await pilot.press(key)
            await settled(pilot)
        await _still(pilot)
        yield pilot


@asynccontextmanager
async def conflict(folder: Path, size: tuple[int, int]) -> AsyncIterator[Pilot[None]]:
    """Start the program on a registry in which somebody else saved while a length was typed."""
    place = folder / "clinic.db"
    with open_registry(str(place), create=True) as store:
        for child in CHILDREN:
            import_record(store, record(child), who="first surgeon", when=WHEN)
    with at(place) as (app, _):
        async with app.run_test(size=size) as pilot:
            await open_rowan(pilot)
            await enter_length(pilot, "121")
            theirs = decision_entry(THEIRS, "night shift")
            with open_registry(str(place)) as other:
                other.append("rowan-02", theirs, seen=other.head("rowan-02"), when=LATER)
            await pilot.press("ctrl+s")
            await saved(pilot)
            await _still(pilot)
            yield pilot


async def _still(pilot: Pilot[None]) -> None:
    await settled(pilot)
    await pilot.pause()
    await pilot.pause()
