"""Every test of the screens runs in plain surroundings."""

from tests.tui.screens_of import plain_surroundings

__all__ = ["plain_surroundings"]
