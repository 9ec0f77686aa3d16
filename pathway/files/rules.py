"""A clinic's folder of rules, read by the one way in."""

from __future__ import annotations

from pathlib import Path

from pathway.files.folder import CheckedFolder

MOST_BYTES = 2_000_000


def rules_folder(folder: Path) -> CheckedFolder:
    """Return a clinic's folder as `load_protocol` and `read_overlay` take it."""
    return CheckedFolder(folder, "a file of rules (TOML)", MOST_BYTES)
