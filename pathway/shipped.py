"""The folders of data that travel with the program: rules and example children.

In the repository they lie beside `pathway`; in an installed package inside it, so that no folder of ours lands beside
other people's packages.
"""

from __future__ import annotations

from importlib import resources
from importlib.resources.abc import Traversable

RULES = "rules"
EXAMPLES = "example_patients"
INSIDE = "shipped_data"
"""The folder of the package that holds them once it is built (`pyproject.toml`)."""


def shipped(folder: str) -> Traversable:
    """Return one of our folders of data, RULES or EXAMPLES; raises FileNotFoundError where the package lacks it."""
    package = resources.files("pathway")
    for found in (package.joinpath(INSIDE, folder), package.joinpath("..", folder)):
        if found.is_dir():
            return found
    raise FileNotFoundError(f"the package lies here without its folder {folder!r}: install it again")
