"""Values that every room's tests share."""

from __future__ import annotations

import os
import shutil
import tempfile

import pytest

# Several workers on few cores: threads of the numerical library would only take the cores from each other.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from hypothesis import HealthCheck, settings

from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from pathway.registry.default import WORKSTATION_VARIABLE
from tests.made_once import SHARED

# A busy machine draws examples slowly: that is no fault of the program, and no test of properties measures time.
settings.register_profile("any machine", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("any machine")


@pytest.fixture(scope="session")
def protocol() -> Protocol:
    """Return the protocol in `rules/`, loaded once a run."""
    return load_protocol()


def pytest_configure(config: pytest.Config) -> None:
    """Give the workers of a run a folder in which they share plans, and a workstation that is nobody's own."""
    if not hasattr(config, "workerinput"):
        os.environ[WORKSTATION_VARIABLE] = tempfile.mkdtemp(prefix="limb-pathway-workstation-")
        os.environ[SHARED] = tempfile.mkdtemp(prefix="limb-pathway-plans-")


def pytest_unconfigure(config: pytest.Config) -> None:
    """Take the folders away when the run ends."""
    if not hasattr(config, "workerinput"):
        shutil.rmtree(os.environ.pop(WORKSTATION_VARIABLE), ignore_errors=True)
        shutil.rmtree(os.environ.pop(SHARED), ignore_errors=True)


def pytest_xdist_auto_num_workers() -> int:
    """Two workers a core: tests of screens and of other processes wait more than they work."""
    return 2 * (os.cpu_count() or 1)
