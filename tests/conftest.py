"""Values that every room's tests share."""

from __future__ import annotations

import pytest

from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol


@pytest.fixture(scope="session")
def protocol() -> Protocol:
    """Return the protocol in `rules/`, loaded once a run."""
    return load_protocol()
