"""Ask whether an advisory is known for a version that `requirements.lock` fixes; skipped where nobody can be asked.

The asking is done by pip-audit in an environment of its own, so that it changes nothing of ours. Where it cannot be
installed, or its source of advisories is not reached, the reason is printed and nothing fails: a machine without the
source must still be able to run all else. An advisory that is known fails, with what to do.

Run as: python .ci/supply/advisories.py
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import venv
from pathlib import Path
from typing import Any

LOCK = Path(__file__).parents[2] / "requirements.lock"
TOOL = "pip-audit>=2.7,<3"
PATIENCE_SECONDS = 120


def skipped(why: str) -> None:
    """Say that nobody was asked, and leave well."""
    print(f"skipped, no advisory was looked up: {why}")
    raise SystemExit(0)


def run(words: list[str]) -> subprocess.CompletedProcess[str]:
    """Run a command; where it takes too long, skip."""
    try:
        return subprocess.run(words, capture_output=True, text=True, timeout=PATIENCE_SECONDS, check=False)
    except subprocess.TimeoutExpired:
        skipped(f"{Path(words[0]).name} took more than {PATIENCE_SECONDS} seconds")
        raise


def answer(folder: Path) -> list[dict[str, Any]]:
    """Return what is known of each package of the lock; leaves where nobody can be asked."""
    venv.create(folder, with_pip=True)
    scripts = folder / ("Scripts" if sys.platform == "win32" else "bin")
    made = run([str(scripts / "python"), "-m", "pip", "install", "-q", TOOL])
    if made.returncode:
        skipped("pip-audit cannot be installed here")
    found = run(
        [
            str(scripts / "python"),
            "-m",
            "pip_audit",
            "--requirement",
            str(LOCK),
            "--no-deps",
            "--disable-pip",
            "--format",
            "json",
            "--progress-spinner",
            "off",
        ]
    )
    try:
        return list(json.loads(found.stdout)["dependencies"])
    except (ValueError, KeyError):
        said = found.stderr.strip().splitlines() or ["it said nothing"]
        skipped(f"the source of advisories does not answer ({said[-1][:160]})")
        raise


def faults(known: list[dict[str, Any]]) -> list[str]:
    """Return a sentence for each advisory: package, version, what to do."""
    found = []
    for one in known:
        for advisory in one.get("vulns", ()):
            better = ", ".join(advisory.get("fix_versions") or ()) or "none yet"
            what = f"{one['name']} {one['version']}: found advisory {advisory['id']}, expected none"
            found.append(f"{what}; versions without it: {better}. Raise it in requirements.lock.")
    return found


def told(known: list[dict[str, Any]]) -> str:
    """Return what to say where no advisory is known; leaves where the source knows none of the packages."""
    judged = sum(1 for one in known if "skip_reason" not in one)
    if not judged:
        skipped("the source of advisories knows none of the packages")
    rest = "" if judged == len(known) else f"; {len(known) - judged} are not known there"
    return f"no advisory is known for {judged} packages of {LOCK.name}{rest}"


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        asked = answer(Path(made))
    wrong = faults(asked)
    if wrong:
        sys.exit("\n".join(wrong))
    print(told(asked))
