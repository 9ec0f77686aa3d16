"""Runs the fitting script in a process of its own, with one thread: many small matrices want no more."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    """Return what `.ci/risk/fit.py` printed and how it ended."""
    command = [sys.executable, str(ROOT / ".ci" / "risk" / "fit.py"), *arguments]
    return subprocess.run(command, capture_output=True, text=True, cwd=ROOT, env=dict(os.environ), check=False)
