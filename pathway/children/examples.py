"""The example children that travel with the program. All of them are invented."""

from __future__ import annotations

from pathway.shipped import EXAMPLES, shipped


def names() -> list[str]:
    """Return the names of the example children."""
    found = (entry.name for entry in shipped(EXAMPLES).iterdir())
    return sorted(name.removesuffix(".toml") for name in found if name.endswith(".toml") and name[0] != "_")


def known(name: str) -> bool:
    """Return whether there is an example child of that name, with or without `.toml`."""
    return name.removesuffix(".toml") in names()


def text(name: str) -> str:
    """Return the case file of an example child."""
    file = shipped(EXAMPLES).joinpath(f"{name.removesuffix('.toml')}.toml")
    return file.read_text(encoding="utf-8")
