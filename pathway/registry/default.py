"""Where the registry is when nobody says where: apart from the database, so that asking costs nothing. An edge."""

from __future__ import annotations

import os
from pathlib import Path

VARIABLE = "LIMB_PATHWAY_REGISTRY"
WORKSTATION_VARIABLE = "LIMB_PATHWAY_WORKSTATION"
FILE_NAME = "registry.db"


def default_file() -> Path:
    """Return the registry's file in the user's data folder."""
    return _data_folder() / FILE_NAME


def workstation_folder() -> Path:
    """Return the folder of what belongs to this workstation alone: its key, and the heads that it saw last."""
    named = os.environ.get(WORKSTATION_VARIABLE)
    return Path(named).expanduser() if named else _data_folder() / "workstation"


def _data_folder() -> Path:
    from platformdirs import user_data_path  # noqa: PLC0415  (verbs that only name the variable do not wait for it)

    return user_data_path("limb-pathway", appauthor=False)
