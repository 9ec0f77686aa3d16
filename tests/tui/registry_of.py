"""Children of a registry for tests of the screens: the registry, the app on it, what one does there again and again."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from click.testing import CliRunner
from textual.pilot import Pilot

from pathway.children.registry_storage import RegistryStorage
from pathway.cli.main import main
from pathway.registry.exchange import import_record
from pathway.registry.store import Registry, open_registry
from tests.plans import DAY, record
from tests.tui.screens_of import TO_LENGTHS, settled
from tests.tui.test_followup import planned, typed
from tui.app import PathwayApp

SIZE = (120, 40)
WHEN = datetime.datetime(2026, 11, 25, 9, 30, tzinfo=datetime.UTC)
CHILDREN = ("oak-12", "rowan-02")


@pytest.fixture
def place(tmp_path: Path) -> Path:
    file = tmp_path / "clinic.db"
    with open_registry(str(file), create=True) as store:
        for child in CHILDREN:
            import_record(store, record(child), who="first surgeon", when=WHEN)
    return file


@contextmanager
def at(place: Path) -> Iterator[tuple[PathwayApp, Registry]]:
    with open_registry(str(place)) as store:
        yield PathwayApp({}, DAY, storage=RegistryStorage(store, "ward-3", lambda: WHEN)), store


def registry(place: Path, *words: str) -> str:
    """Run a verb of the registry and return what it printed; fails where it does."""
    done = CliRunner(env={"LIMB_PATHWAY_REGISTRY": str(place), "LOGNAME": "ward-3"}).invoke(main, ["registry", *words])
    assert done.exit_code == 0, done.output
    return done.output


async def saved(pilot: Pilot[None]) -> None:
    await settled(pilot)
    await settled(pilot)


async def open_rowan(pilot: Pilot[None]) -> None:
    await settled(pilot)
    await pilot.press(*"rowan", "enter")
    await settled(pilot)


async def enter_length(pilot: Pilot[None], length: str) -> None:
    await pilot.press(*TO_LENGTHS)
    await typed(pilot, length)
    await planned(pilot)
    await pilot.press("f5")
    await settled(pilot)


def told(app: PathwayApp) -> str:
    return " ".join(app.child_list["rowan-02"].told)
