"""Where the registry is when nobody says where: apart from the database, so that asking costs nothing. An edge."""

from __future__ import annotations

from pathlib import Path

VARIABLE = "LIMB_PATHWAY_REGISTRY"
FILE_NAME = "registry.db"


def default_file() -> Path:
    """Return the registry's file in the user's data folder."""
    from platformdirs import user_data_path  # noqa: PLC0415  (verbs that only name the variable do not wait for it)

    return user_data_path("limb-pathway", appauthor=False) / FILE_NAME
