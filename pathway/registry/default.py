"""Where the registry is when nobody says: by itself, so that asking whether it is there loads no database."""

from __future__ import annotations

from pathlib import Path

from platformdirs import user_data_path

FILE_NAME = "registry.db"


def default_file() -> Path:
    """Return the registry's file in the user's data folder."""
    return user_data_path("limb-pathway", appauthor=False) / FILE_NAME
