"""Write pictures of the real screens and of the handout for the README: `python .ci/pictures/make.py`.

The day is fixed and the example child is always the same, so the pictures are too. With `--check` nothing is
written: the exit code is 1 when a picture is no longer what the program shows.
"""

from __future__ import annotations

import asyncio
import datetime
import os
import re
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))
for surrounding in ("NO_COLOR", "TEXTUAL_THEME"):
    os.environ.pop(surrounding, None)

from pathway.casefile import read_case  # noqa: E402
from pathway.plan.make import make_plan  # noqa: E402
from pathway.protocol.load import load_protocol  # noqa: E402
from pathway.protocol.question import Question  # noqa: E402
from pathway.record import Record  # noqa: E402
from pathway.shipped import EXAMPLES, shipped  # noqa: E402
from pathway.views.documents.files import page_svg  # noqa: E402
from pathway.views.documents.handout import handout  # noqa: E402
from pathway.views.words.wording import wording  # noqa: E402
from tui.app import PathwayApp  # noqa: E402

FOLDER = Path(__file__).parent
SIZE = (120, 40)
CHILD = "rowan-02"
SETTLES_SECONDS = 0.4
DAY = datetime.date(2026, 11, 25)
WALK = (
    ("timeline", ("down", "down", "down", "down", *["shift+right"] * 4)),
    ("prerequisites", ("b",)),
    ("details", ("enter",)),
    ("courses", ("escape", "escape", "c")),
    ("worksheet", ("escape", "s")),
    ("follow_up", ("escape", "v", "1", "2", "6")),
    ("family", ("escape", "f")),
    ("children", ("escape", "escape")),
)


def files() -> dict[str, str]:
    """Return the example case files by name."""
    entries = [entry for entry in shipped(EXAMPLES).iterdir() if entry.name.endswith(".toml")]
    return {e.name.removesuffix(".toml"): e.read_text("utf-8") for e in entries if not e.name.startswith("_")}


async def pictures() -> dict[str, str]:
    """Walk through the screens and return one picture of each."""
    app, drawn = PathwayApp(files(), DAY, CHILD), {}
    async with app.run_test(size=SIZE) as pilot:
        while any(entry.waiting for entry in app.child_list.entries):
            await pilot.pause(0.05)
        for name, keys in WALK:
            await pilot.press(*keys)
            await pilot.pause(SETTLES_SECONDS)
            await app.workers.wait_for_complete()
            await pilot.pause(SETTLES_SECONDS)
            drawn[name] = re.sub(r"terminal-\d+", "terminal-0", app.export_screenshot(title="limb-pathway"))
    return drawn


def first_page() -> str:
    """Return the first page of the family's document."""
    protocol = load_protocol()
    record = read_case(files()[CHILD], CHILD, protocol, DAY)
    if not isinstance(record, Record):
        sys.exit(f"{CHILD} cannot be read")
    return page_svg(handout(make_plan(Question(record, protocol, DAY)), wording(), protocol))


def main() -> None:
    """Write the pictures, or compare them with those that are kept."""
    stale = []
    for name, svg in {**asyncio.run(pictures()), "handout": first_page()}.items():
        file = FOLDER / f"{name}.svg"
        if "--check" not in sys.argv:
            file.write_text(svg, encoding="utf-8")
        elif not file.exists() or file.read_text("utf-8") != svg:
            stale.append(str(file.relative_to(ROOT)))
    if stale:
        sys.exit(f"no longer what the program shows: {', '.join(stale)}; run python .ci/pictures/make.py")


if __name__ == "__main__":
    main()
