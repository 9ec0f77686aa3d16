"""Write pictures of the real screens for the README: `python .ci/pictures/make.py`.

The day is fixed and the example child is always the same, so the pictures are too.
"""

from __future__ import annotations

import asyncio
import datetime
import os
import re
import sys
from importlib import resources
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))
for surrounding in ("NO_COLOR", "TEXTUAL_THEME"):
    os.environ.pop(surrounding, None)

from tui.app import PathwayApp  # noqa: E402

FOLDER = Path(__file__).parent
SIZE = (120, 40)
CHILD = "rowan-02"
DAY = datetime.date(2026, 11, 25)
WALK = (
    ("road", ("down", "down", "down", *["shift+right"] * 4)),
    ("before", ("b",)),
    ("details", ("enter",)),
    ("children", ("escape", "escape")),
)


def files() -> dict[str, str]:
    """Return the example case files by name."""
    entries = [entry for entry in resources.files("example_patients").iterdir() if entry.name.endswith(".toml")]
    return {e.name.removesuffix(".toml"): e.read_text("utf-8") for e in entries if not e.name.startswith("_")}


async def main() -> None:
    """Walk through the screens and write one picture of each."""
    app = PathwayApp(files(), DAY, CHILD)
    async with app.run_test(size=SIZE) as pilot:
        while any(entry.waiting for entry in app.shelf.entries):
            await pilot.pause(0.05)
        for name, keys in WALK:
            await pilot.press(*keys)
            await pilot.pause(0.2)
            svg = app.export_screenshot(title="limb-pathway")
            file = FOLDER / f"{name}.svg"
            file.write_text(re.sub(r"terminal-\d+", "terminal-0", svg), encoding="utf-8")
            print(file.relative_to(ROOT))


if __name__ == "__main__":
    asyncio.run(main())
