"""The program served to a browser of this machine; skipped with a reason where its parts are missing."""

from __future__ import annotations

import importlib.util
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
CHROMIUM = next((found for name in ("chromium", "chromium-browser") if (found := shutil.which(name))), None)


@pytest.fixture(scope="session")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Return the address that the verb prints; the server ends with the session."""
    if importlib.util.find_spec("textual_serve") is None:
        pytest.skip("textual-serve is not installed: there is nothing to serve with")
    away = ("NO_COLOR", "TEXTUAL_THEME", "TEXTUAL_ANIMATIONS", "LIMB_PATHWAY_REGISTRY")
    around = {name: value for name, value in os.environ.items() if name not in away}
    around["XDG_DATA_HOME"] = str(tmp_path_factory.mktemp("data"))
    around["PYTHONPATH"] = os.pathsep.join(part for part in (str(ROOT), around.get("PYTHONPATH", "")) if part)
    command = [sys.executable, "-m", "pathway", "serve", "--port", "0", "--on", "2026-11-25"]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=around, cwd=ROOT) as running:
        assert running.stderr is not None
        try:
            line = running.stderr.readline()
            assert line.startswith("Open http://127.0.0.1:"), line
            running.stderr.readline()
            yield line.split()[1]
        finally:
            running.send_signal(signal.SIGINT)
            running.wait(20)
            assert "Traceback" not in running.stderr.read()


@pytest.fixture(scope="session")
def chromium() -> str:
    """Return the browser of the system."""
    if CHROMIUM is None:
        pytest.skip("Chromium is not installed: no browser to open the page in")
    return CHROMIUM
