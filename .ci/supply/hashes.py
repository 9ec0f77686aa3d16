"""Write `requirements.hashes.lock`: every wheel that an install needs on Linux x86-64, with its SHA-256.

Versions are those of `requirements.lock`. The wheels are downloaded by pip for each Python, their digests are counted
here, and what each needs in turn is read from its own metadata. The file names no registry.

Run as: .venv/bin/python .ci/supply/hashes.py            (some minutes; after a change of requirements.lock)
        .venv/bin/python .ci/supply/hashes.py --check    (no download: every version is that of requirements.lock)
"""

from __future__ import annotations

import argparse
import hashlib
import subprocess
import sys
import tempfile
import tomllib
import zipfile
from collections.abc import Iterable, Iterator
from email.parser import HeaderParser
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name, parse_wheel_filename

ROOT = Path(__file__).parents[2]
LOCK, HASHES = ROOT / "requirements.lock", ROOT / "requirements.hashes.lock"
PYTHONS = ("3.11", "3.12", "3.13")
EXTRAS = ("calendar", "cluster", "encrypted", "fhir", "parquet", "postgres", "web", "xlsx")
BUILD = ("editables",)
"""What the build backend asks for beyond `build-system.requires` when a clone is installed in place."""
PLATFORMS = tuple(f"{name}_x86_64" for name in ("manylinux_2_28", "manylinux_2_17", "manylinux2014", "manylinux1"))
HEAD = """\
# Written by .ci/supply/hashes.py; never by hand. Linux x86-64, CPython 3.11 to 3.13.
# Install: pip install --require-hashes -r requirements.hashes.lock
#          pip install --no-deps --no-build-isolation -e .
"""


def environment(python: str) -> dict[str, str]:
    """Return what markers are judged by on one Python."""
    return {
        "python_version": python,
        "python_full_version": f"{python}.0",
        "implementation_name": "cpython",
        "implementation_version": f"{python}.0",
        "platform_python_implementation": "CPython",
        "sys_platform": "linux",
        "platform_system": "Linux",
        "platform_machine": "x86_64",
        "os_name": "posix",
        "extra": "",
    }


def applies(wanted: Requirement, python: str, extras: Iterable[str] = ()) -> bool:
    """Return whether a requirement holds on one Python, with any of these extras asked for."""
    around = environment(python)
    return wanted.marker is None or any(wanted.marker.evaluate({**around, "extra": e}) for e in ("", *extras))


def pins(text: str, python: str) -> dict[str, str]:
    """Return the version that a lock fixes for each name on one Python. Raises ValueError for another form."""
    found: dict[str, str] = {}
    for line in text.splitlines():
        bare = line.split("#")[0].split("--hash")[0].strip().removesuffix("\\").strip()
        if not bare or bare.startswith("--"):
            continue
        wanted = Requirement(bare)
        (one,) = wanted.specifier
        if applies(wanted, python):
            found[canonicalize_name(wanted.name)] = one.version
    return found


def roots() -> list[Requirement]:
    """Return what the project itself asks for: to run, with the extras of a clinic, and to be built."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    extras = project["project"]["optional-dependencies"]
    words = [*project["project"]["dependencies"], *(word for extra in EXTRAS for word in extras[extra])]
    return [Requirement(word) for word in (*words, *project["build-system"]["requires"], *BUILD)]


def needed_by(wheel: Path, extras: Iterable[str], python: str) -> Iterator[Requirement]:
    """Yield what a wheel asks for in its own metadata."""
    with zipfile.ZipFile(wheel) as opened:
        name = next(name for name in opened.namelist() if name.endswith(".dist-info/METADATA"))
        metadata = HeaderParser().parsestr(opened.read(name).decode())
    for word in metadata.get_all("Requires-Dist") or ():
        wanted = Requirement(word)
        if applies(wanted, python, extras):
            yield wanted


def downloaded(words: list[str], python: str, folder: Path) -> None:
    """Have pip download wheels for one Python, and only these."""
    platforms = [word for platform in PLATFORMS for word in ("--platform", platform)]
    target = ["--python-version", python, "--implementation", "cp", "--only-binary", ":all:", *platforms]
    command = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "-d", str(folder), *target, *words]
    subprocess.run(command, check=True)


def wheels(python: str, folder: Path) -> dict[str, Path]:
    """Return the wheel of everything that is needed on one Python, by name."""
    fixed = pins(LOCK.read_text(encoding="utf-8"), python)
    found: dict[str, Path] = {}
    asked: set[tuple[str, frozenset[str]]] = set()
    coming = roots()
    while coming:
        new = {canonicalize_name(one.name): one for one in coming if canonicalize_name(one.name) not in found}
        if new:
            # The build backend is no dependency of the program: requirements.lock does not fix it.
            words = [f"{name}=={fixed[name]}" if name in fixed else str(one).split(";")[0] for name, one in new.items()]
            downloaded(words, python, folder)
            for file in folder.iterdir():
                found.setdefault(canonicalize_name(parse_wheel_filename(file.name)[0]), file)
        news = {(canonicalize_name(one.name), frozenset(one.extras)) for one in coming} - asked
        asked |= news
        coming = [more for name, extras in sorted(news) for more in needed_by(found[name], extras, python)]
    return found


def lock_text() -> str:
    """Return the whole lock: for each version on which Pythons it counts, and the digests of its wheels."""
    kept: dict[tuple[str, str], dict[str, set[str]]] = {}
    for python in PYTHONS:
        with tempfile.TemporaryDirectory() as made:
            for name, file in wheels(python, Path(made)).items():
                digest = hashlib.sha256(file.read_bytes()).hexdigest()
                version = str(parse_wheel_filename(file.name)[1])
                kept.setdefault((name, version), {}).setdefault(python, set()).add(digest)
    lines = []
    for (name, version), by_python in sorted(kept.items()):
        marker = "" if len(by_python) == len(PYTHONS) else f" ; {' or '.join(map(_is, sorted(by_python)))}"
        digests = sorted(set().union(*by_python.values()))
        lines.append(" \\\n    ".join((f"{name}=={version}{marker}", *(f"--hash=sha256:{one}" for one in digests))))
    return HEAD + "\n".join(lines) + "\n"


def faults() -> list[str]:
    """Return in which versions the two locks differ, and what the project asks for that has no digest."""
    found = []
    for python in PYTHONS:
        fixed = pins(LOCK.read_text(encoding="utf-8"), python)
        hashed = pins(HASHES.read_text(encoding="utf-8"), python)
        found += [
            f"Python {python}: {name} is {version} in {HASHES.name}, expected {fixed[name]} as in {LOCK.name}"
            for name, version in hashed.items()
            if fixed.get(name, version) != version
        ]
        asked = {canonicalize_name(one.name) for one in roots() if applies(one, python)}
        found += [f"Python {python}: {name} is not in {HASHES.name}" for name in sorted(asked - set(hashed))]
    return found


def _is(python: str) -> str:
    return f"python_version == '{python}'"


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--check", action="store_true", help="compare with requirements.lock, download nothing")
    if parser.parse_args().check:
        wrong = faults()
        print("\n".join(wrong) or f"{HASHES.name} is in step")
        if wrong:
            sys.exit("run .ci/supply/hashes.py")
    else:
        HASHES.write_text(lock_text(), encoding="utf-8")
