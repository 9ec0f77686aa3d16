"""The first so many invented children of a run, worked on side by side with a line of progress."""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import TypeVar

Found = TypeVar("Found")
Task = tuple[int, int, int]
"""The seed of a run, the number of a child, how many lives it has."""


def asked(about: str | None) -> argparse.ArgumentParser:
    """Return the options that every such run takes."""
    parser = argparse.ArgumentParser(description=about)
    parser.add_argument("--children", type=int, default=400)
    parser.add_argument("--lives", type=int, default=5)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--out", type=Path)
    parser.add_argument("--each", action="store_true", help="print every child")
    return parser


def many(one: Callable[[Task], Found | None], of: argparse.Namespace) -> list[Found]:
    """Return what `one` makes of the first children for whom it makes anything."""
    found: list[Found] = []
    begun, tried = time.monotonic(), 0
    with ProcessPoolExecutor(of.processes) as pool:
        while len(found) < of.children:
            more = max(of.children - len(found), of.processes)
            batch = [(of.seed, number, of.lives) for number in range(tried, tried + more)]
            tried += len(batch)
            for item in pool.map(one, batch):
                found += [item] if item is not None else []
                if of.each and item is not None:
                    print(item, flush=True)
                each = (time.monotonic() - begun) / max(len(found), 1)
                print(
                    f"\r{len(found)} of {of.children} children, {each:.2f} s each", end="", file=sys.stderr, flush=True
                )
    print(file=sys.stderr)
    return found[: of.children]


def written(text: str, out: Path | None) -> None:
    """Write the figures to a file, or print them where none is named."""
    if out is None:
        print(text)
        return
    out.parent.mkdir(parents=True, exist_ok=True)
    out.write_text(text, encoding="utf-8")
