"""Every test of the screens runs in plain surroundings."""

from tests.tui.registry_of import place
from tests.tui.screens_of import plain_surroundings

__all__ = ["place", "plain_surroundings"]
