"""Install the built wheel outside the clone and use it as a stranger would.

In an environment that already holds packages named like our folders (`rules`, `example_patients`): nothing of theirs is
overwritten, nothing of ours lands beside them. The verbs run from an empty folder, a client file is checked by mypy
against the installed types.

Run as: python .ci/package/installed.py [--python python3.12] [--resolution lowest-direct|highest] [--extras]
        python .ci/package/installed.py --matrix    (a quarter of an hour: every Python here, every choice of versions)
Without --resolution the versions of requirements.lock are installed; `highest` are the newest that pyproject.toml
allows, `lowest-direct` the oldest of what it names itself (worked out by uv, which is fetched where it is not there).
"""

from __future__ import annotations

import argparse
import base64
import csv
import hashlib
import io
import os
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
import zipfile
from collections.abc import Mapping
from email.parser import HeaderParser
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
VERBS_OF_EXTRAS = (
    ("rules", "holidays", "DE-BY", "--on", "2026-11-25", "-o", "holidays.toml"),
    ("fhir", "oak-12", "--on", "2026-11-25", "-o", "record.json"),
    ("registry", "table", "visits", "-o", "visits.parquet"),
    ("registry", "import", "oak-12", "--registry", "locked.db", "--key-file", "key.txt"),
    ("registry", "verify", "--registry", "locked.db", "--key-file", "key.txt"),
)
LIBRARIES = "import distributed, openpyxl, psycopg, tui.web.server"
"""What no verb above opens; the server of the screens and its library come in together."""
PYTHONS = ("3.11", "3.12", "3.13", "3.14")
RESOLUTIONS = (None, "highest", "lowest-direct")
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


def extras() -> str:
    """Return all extras but that of the tests, as pip wants them."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return ",".join(sorted(set(project["optional-dependencies"]) - {"test"}))


def uv(folder: Path) -> str:
    """Return the program uv: that of this machine, or one fetched into an environment of its own."""
    if found := shutil.which("uv"):
        return found
    run([sys.executable, "-m", "venv", "tools"], folder)
    run([str(folder / "tools" / "bin" / "python"), "-m", "pip", "install", "-q", "uv"], folder)
    return str(folder / "tools" / "bin" / "uv")


def versions(folder: Path, python: Path, resolution: str | None, more: str) -> list[str]:
    """Return what holds pip to the versions asked for: nothing for the newest, which pip takes by itself."""
    if resolution is None:
        return ["-c", str(ROOT / "requirements.lock")]
    if resolution == "highest":
        return []
    file = folder / "versions.txt"
    asked = [uv(folder), "pip", "compile", "-q", "--resolution", resolution, "--no-header", "--python", str(python)]
    some = [word for extra in more.split(",") if extra for word in ("--extra", extra)]
    run([*asked, *some, str(ROOT / "pyproject.toml"), "-o", str(file)], folder)
    # A lock with extras in its lines is no file of constraints.
    lines = file.read_text(encoding="utf-8").splitlines()
    file.write_text("\n".join(re.sub(r"\[[^]]*\]", "", line) for line in lines) + "\n", encoding="utf-8")
    return ["-c", str(file)]


def about(wheel: Path) -> list[str]:
    """Return what a wheel lacks of what it must say of itself: its licences, their texts, its types."""
    with zipfile.ZipFile(wheel) as opened:
        names = opened.namelist()
        inside = next(name for name in names if name.endswith(".dist-info/METADATA"))
        metadata = HeaderParser().parsestr(opened.read(inside).decode())
    folder = inside.removesuffix("METADATA")
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [f"{folder}licenses/{file}" for file in project["license-files"]]
    wanted += ["pathway/shipped_data/rules/LICENCES.md", "pathway/py.typed"]
    wrong = [f"found no {name}, expected it inside" for name in wanted if name not in names]
    if metadata["License-Expression"] != project["license"]:
        wrong.append(f"found the licence {metadata['License-Expression']}, expected {project['license']}")
    return wrong


def installed(folder: Path, python: str, resolution: str | None, more: str) -> Path:
    """Return the Python of a new environment that holds their wheel and ours, with these extras."""
    run([python, "-m", "venv", "env"], folder)
    ours = folder / "env" / "bin" / "python"
    pip = [str(ours), "-m", "pip", "install", "-q"]
    run([*pip, str(their_wheel(folder))], folder)
    run([python, "-m", "pip", "wheel", "-q", "--no-deps", "-w", str(folder / "made"), str(ROOT)], folder)
    wheel = next((folder / "made").glob("*.whl"))
    if lacking := about(wheel):
        sys.exit(f"{wheel.name}: {'; '.join(lacking)}")
    run([*pip, *versions(folder, ours, resolution, more), f"{wheel}[{more}]" if more else str(wheel)], folder)
    run([*pip, *TYPES], folder)
    return ours


def tried(python: str, resolution: str | None, with_extras: bool) -> str:
    """Build, install, look and use; return what was used, or end with a sentence at the first thing that is wrong."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        ours = installed(folder, python, resolution, extras() if with_extras else "")
        site = Path(run([str(ours), "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"], folder).strip())
        for theirs, text in THEIRS.items():
            if (site / theirs / "__init__.py").read_text() != text or len(list((site / theirs).glob("*.*"))) != 1:
                sys.exit(f"{site / theirs}: something of ours landed there")
        desk = folder / "desk"
        desk.mkdir()
        (desk / "key.txt").write_text("a key of this trial only\n", encoding="utf-8")
        own = {"LIMB_PATHWAY_REGISTRY": str(folder / "clinic.db"), "LIMB_PATHWAY_WORKSTATION": str(folder / "key")}
        for words in (*VERBS, *(VERBS_OF_EXTRAS if with_extras else ())):
            run([str(ours), "-m", "pathway", *words], desk, own)
        run([str(ours.with_name("limb-pathway")), "demo", "--plain"], desk, own)
        run([str(ours), "-W", "error::SyntaxWarning", "-c", SCREENS], desk, own)
        if with_extras:
            run([str(ours), "-c", LIBRARIES], desk)
        (desk / "client.py").write_text((ROOT / "tests" / "data" / "client.py").read_text(encoding="utf-8"))
        run([str(ours), "-m", "mypy", "--strict", "client.py"], desk)
        run([str(ours), "client.py"], desk, own)
        which = "the versions of requirements.lock" if resolution is None else f"the {resolution} versions"
        what = f"{which}{' and all extras' if with_extras else ''}"
        return f"the wheel is used outside the clone with {run([str(ours), '--version'], desk).strip()}, {what}"


def pythons() -> list[str]:
    """Return the Pythons of this machine that the program may run on, each once."""
    places = [shutil.which(f"python{one}") for one in PYTHONS]
    answers = [place for place in places if place and not subprocess.run([place, "-V"], capture_output=True).returncode]
    return answers or [sys.executable]


def main() -> None:
    """Try what is asked for, and say after each what was used."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--python", default=sys.executable)
    asked.add_argument("--resolution", choices=("lowest-direct", "highest"))
    asked.add_argument("--extras", action="store_true", help="install and use the extras too")
    asked.add_argument("--matrix", action="store_true", help="every Python of this machine, every choice of versions")
    wanted = asked.parse_args()
    if not wanted.matrix:
        print(tried(wanted.python, wanted.resolution, wanted.extras))
        return
    for python in pythons():
        for resolution in RESOLUTIONS:
            print(tried(python, resolution, with_extras=True), flush=True)


if __name__ == "__main__":
    main()
