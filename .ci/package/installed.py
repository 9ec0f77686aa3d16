"""Install the built wheel outside the clone and use it as a stranger would.

In an environment that already holds packages named like our folders (`rules`, `example_patients`): nothing of theirs is
overwritten, nothing of ours lands beside them. The verbs run from an empty folder, a client file is checked by mypy
against the installed types. Needs uv where versions are asked for.

Run as: python .ci/package/installed.py [--python python3.12] [--resolution lowest-direct|highest]
Without --resolution the versions of requirements.lock are installed.
"""

from __future__ import annotations

import argparse
import base64
import csv
import hashlib
import io
import os
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Mapping
from pathlib import Path

ROOT = Path(__file__).parents[2]
THEIRS = {name: f"'''The {name} of somebody else.'''\nWHOSE = 'theirs'\n" for name in ("rules", "example_patients")}
TYPES = ("mypy", "types-networkx")
VERBS = (
    ("--version",),
    ("demo", "--plain"),
    ("plan", "oak-12", "--on", "2026-11-25"),
    ("worksheet", "lengthening", "rowan-02", "--on", "2026-11-25"),
    ("handout", "oak-12", "--on", "2026-11-25", "-o", "handout.pdf"),
    ("calendar", "oak-12", "--on", "2026-11-25", "-o", "plan.ics"),
    ("registry", "import", "oak-12"),
    ("registry", "list"),
    ("registry", "verify"),
    ("rules", "check"),
    ("new", "pine-01", "--on", "2026-11-25"),
)
SCREENS = """
import asyncio, datetime
from pathway.children import examples
from tui.app import PathwayApp
async def walk():
    app = PathwayApp({"oak-12": examples.text("oak-12")}, datetime.date(2026, 11, 25), "oak-12")
    async with app.run_test(size=(120, 40)) as pilot:
        for _ in range(600):
            await pilot.pause(0.05)
            if app.child_list["oak-12"].plan is not None:
                break
        await pilot.press("c", "escape", "s", "escape", "f", "escape", "v", "escape")
        assert app.child_list["oak-12"].plan is not None
asyncio.run(walk())
print("screens open")
"""


def run(command: list[str], cwd: Path, more: Mapping[str, str] | None = None) -> str:
    """Run a command; end with what it said where it fails."""
    around = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "VIRTUAL_ENV")}
    done = subprocess.run(
        command, cwd=cwd, env={**around, **(more or {})}, capture_output=True, text=True, stdin=subprocess.DEVNULL
    )
    if done.returncode:
        sys.exit(f"{' '.join(command)}\nended with {done.returncode}\n{done.stdout[-3000:]}\n{done.stderr[-3000:]}")
    return done.stdout


def their_wheel(folder: Path) -> Path:
    """Return a wheel of somebody else with packages named like our folders of data."""
    file = folder / "theirs-1.0-py3-none-any.whl"
    about = "theirs-1.0.dist-info"
    inside = {f"{name}/__init__.py": text for name, text in THEIRS.items()}
    inside[f"{about}/METADATA"] = "Metadata-Version: 2.1\nName: theirs\nVersion: 1.0\n"
    inside[f"{about}/WHEEL"] = "Wheel-Version: 1.0\nGenerator: hand\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
    record = io.StringIO()
    lines = csv.writer(record)
    for name, text in inside.items():
        digest = base64.urlsafe_b64encode(hashlib.sha256(text.encode()).digest()).rstrip(b"=").decode()
        lines.writerow((name, f"sha256={digest}", len(text)))
    lines.writerow((f"{about}/RECORD", "", ""))
    inside[f"{about}/RECORD"] = record.getvalue()
    with zipfile.ZipFile(file, "w") as wheel:
        for name, text in inside.items():
            wheel.writestr(name, text)
    return file


def installed(folder: Path, python: str, resolution: str | None) -> Path:
    """Return the Python of a new environment that holds their wheel and ours."""
    run([python, "-m", "venv", "env"], folder)
    ours = folder / "env" / "bin" / "python"
    pip = [str(ours), "-m", "pip", "install", "-q"]
    run([*pip, str(their_wheel(folder))], folder)
    run([python, "-m", "pip", "wheel", "-q", "--no-deps", "-w", str(folder / "made"), str(ROOT)], folder)
    wheel = next((folder / "made").glob("*.whl"))
    versions = ROOT / "requirements.lock"
    if resolution is not None:
        versions = folder / "versions.txt"
        compile_ = ["uv", "pip", "compile", "-q", "--resolution", resolution, "--no-header", "--python", str(ours)]
        run([*compile_, str(ROOT / "pyproject.toml"), "-o", str(versions)], folder)
    run([*pip, "-c", str(versions), str(wheel)], folder)
    run([*pip, *TYPES], folder)
    return ours


def main() -> None:
    """Build, install, look and use; end with a sentence at the first thing that is not as it should be."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--python", default=sys.executable)
    asked.add_argument("--resolution", choices=("lowest-direct", "highest"))
    wanted = asked.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        python = installed(folder, wanted.python, wanted.resolution)
        site = Path(run([str(python), "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"], folder).strip())
        for theirs, text in THEIRS.items():
            if (site / theirs / "__init__.py").read_text() != text or len(list((site / theirs).glob("*.*"))) != 1:
                sys.exit(f"{site / theirs}: something of ours landed there")
        desk = folder / "desk"
        desk.mkdir()
        own = {"LIMB_PATHWAY_REGISTRY": str(folder / "clinic.db"), "LIMB_PATHWAY_WORKSTATION": str(folder / "key")}
        for words in VERBS:
            run([str(python), "-m", "pathway", *words], desk, own)
        run([str(python.with_name("limb-pathway")), "demo", "--plain"], desk, own)
        print(run([str(python), "-W", "error::SyntaxWarning", "-c", SCREENS], desk, own).strip())
        (desk / "client.py").write_text((ROOT / "tests" / "data" / "client.py").read_text(encoding="utf-8"))
        run([str(python), "-m", "mypy", "--strict", "client.py"], desk)
        run([str(python), "client.py"], desk, own)
        print(f"the wheel is used outside the clone with {run([str(python), '--version'], desk).strip()}")


if __name__ == "__main__":
    main()
