"""How long a key takes until the screen has changed: the event is posted, the effect and the refresh are awaited.

Run with `pytest -n 0 tests/outside/benchmarks --benchmark-enable`; figures stand in `extra_info`, nothing asserts a
time. Pilot's own waiting (some 40 ms a key) would hide what is measured, so the loop is our own.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Coroutine
from dataclasses import dataclass

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from textual import events
from textual.pilot import Pilot

from tests.plans import files
from tests.tui.screens_of import SIZES as TYPED
from tests.tui.screens_of import settled, text_of, the_app
from tui.app import PathwayApp
from tui.widgets.timeline_view import TimelineView

SIZES = {"80x24": (80, 24), "120x40": (120, 40), "200x50": (200, 50)}
ROUNDS = 24
OPENERS = {"prerequisites": "b", "details": "enter", "courses": "c", "family": "f", "worksheet": "s", "sources": "w"}
MOVES = {"age": ("right", "left"), "stage": ("down", "up"), "zoom": ("plus", "minus")}
FORMS = {"worksheet": ("down", "s"), "follow_up": ("v", "down", "down"), "what_if": ("c", "i"), "search": ()}
GLYPHS = {"plus": "+", "minus": "-"}


@dataclass(frozen=True, slots=True)
class Taken:
    """Milliseconds from a key to the screen that shows its effect: by the clock, and of this process alone."""

    wall_ms: float
    cpu_ms: float


async def until_shown(app: PathwayApp, key: str, changed: Callable[[], bool]) -> Taken:
    start, cpu = time.perf_counter(), time.process_time()
    app.post_message(events.Key(key, GLYPHS.get(key, key if len(key) == 1 else None)))
    while not changed():
        await asyncio.sleep(0)
    refreshed = asyncio.Event()
    app.screen.call_after_refresh(refreshed.set)
    await refreshed.wait()
    return Taken(1000 * (time.perf_counter() - start), 1000 * (time.process_time() - cpu))


def state(app: PathwayApp) -> tuple[object, ...]:
    """Return what a key on the timeline may change."""
    view = app.screen.query_one(TimelineView)
    return view.age, view.selected, view.window


async def moved(pilot: Pilot[None], keys: tuple[str, ...]) -> list[Taken]:
    app, taken = pilot.app, []
    assert isinstance(app, PathwayApp)
    for turn in range(ROUNDS):
        before = state(app)
        taken.append(await until_shown(app, keys[turn % len(keys)], lambda before=before: state(app) != before))
        await pilot.pause(0.02)
    return taken


async def opened(pilot: Pilot[None], key: str) -> list[Taken]:
    app, taken = pilot.app, []
    assert isinstance(app, PathwayApp)
    for _ in range(ROUNDS):
        shown = app.screen
        await pilot.press("down")
        await pilot.pause(0.02)
        before = text_of(app)
        taken.append(await until_shown(app, key, lambda shown=shown: app.screen is not shown and app.screen.is_running))
        assert text_of(app) != before
        await pilot.pause(0.02)
        await pilot.press("escape")
        await pilot.pause(0.02)
    return taken


async def typed(pilot: Pilot[None], openers: tuple[str, ...]) -> list[Taken]:
    """Type a digit and take it away again, where a form is open; what it shows must change with each key."""
    app, taken = pilot.app, []
    assert isinstance(app, PathwayApp)
    for key in openers:
        await pilot.press(key)
        await pilot.pause(0.05)
    await settled(pilot)
    for turn in range(ROUNDS):
        before = text_of(app)
        key = "backspace" if turn % 2 else "1"
        taken.append(await until_shown(app, key, lambda before=before: text_of(app) != before))
        await settled(pilot)
        await pilot.pause(0.02)
    return taken


def figures(benchmark: BenchmarkFixture, taken: list[Taken]) -> None:
    for what in ("wall_ms", "cpu_ms"):
        values = [getattr(item, what) for item in taken]
        benchmark.extra_info[f"{what} median"] = round(float(np.median(values)), 1)
        benchmark.extra_info[f"{what} p95"] = round(float(np.quantile(values, 0.95)), 1)
        benchmark.extra_info[f"{what} first"] = round(values[0], 1)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("what", [*MOVES, *OPENERS])
def test_a_key_shows_its_effect(what: str, size: str, benchmark: BenchmarkFixture) -> None:
    async def walk() -> list[Taken]:
        app = the_app("rowan-02", {"rowan-02": files()["rowan-02"]})
        async with app.run_test(size=SIZES[size]) as pilot:
            await settled(pilot)
            return await (moved(pilot, MOVES[what]) if what in MOVES else opened(pilot, OPENERS[what]))

    measure(walk, benchmark)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("what", FORMS)
def test_a_key_typed_shows_its_effect(what: str, size: str, benchmark: BenchmarkFixture) -> None:
    async def walk() -> list[Taken]:
        app = the_app(None if what == "search" else "rowan-02", {"rowan-02": files()["rowan-02"]})
        async with app.run_test(size=SIZES[size]) as pilot:
            await settled(pilot)
            return await typed(pilot, FORMS[what])

    measure(walk, benchmark)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("what", ["open", "part", "page"])
def test_a_key_of_the_page_for_the_table(what: str, size: str, benchmark: BenchmarkFixture) -> None:
    async def walk() -> list[Taken]:
        app = the_app("rowan-02", {"rowan-02": files()["rowan-02"]})
        async with app.run_test(size=SIZES[size]) as pilot:
            await settled(pilot)
            app.screen.select("proximal_femoral_osteotomy_1")
            await pilot.press("s", *TYPED)
            await pilot.pause(0.05)
            taken = []
            for turn in range(ROUNDS):
                if what != "open" and not turn:
                    await pilot.press("f3")
                    await pilot.pause(0.05)
                keys = {"open": ("f3",), "part": ("right", "left"), "page": ("pagedown", "pageup")}[what]
                before, shown = text_of(app), app.screen
                page = None if what == "open" else shown.query_one("#page").scroll_offset

                def changed(shown=shown, page=page) -> bool:
                    if page is None:
                        return app.screen is not shown and app.screen.is_running
                    return shown.query_one("#page").scroll_offset != page

                taken.append(await until_shown(app, keys[turn % len(keys)], changed))
                assert text_of(app) != before
                await pilot.pause(0.02)
                if what == "open":
                    await pilot.press("escape")
                    await pilot.pause(0.02)
            return taken

    measure(walk, benchmark)


def measure(walk: Callable[[], Coroutine[None, None, list[Taken]]], benchmark: BenchmarkFixture) -> None:
    taken = asyncio.run(walk()) if benchmark.enabled else [Taken(0.0, 0.0)]
    benchmark.pedantic(lambda: None, rounds=1)
    figures(benchmark, taken)
    assert len(taken) in (1, ROUNDS)
