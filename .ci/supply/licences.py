"""Write `rules/LICENCES.md`, which goes into the wheel: the licence of every dependency, font and table of data.

Licences are read from what is installed (all extras and tests), the terms of data from `data_licences.toml` beside
this script. A dependency without a licence, and a table of data without terms, is an error.

Run as: .venv/bin/python .ci/supply/licences.py [--check]
"""

from __future__ import annotations

import argparse
import sys
import tomllib
from collections.abc import Iterable
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
RULES, OUT, LOCK = ROOT / "rules", ROOT / "rules" / "LICENCES.md", ROOT / "requirements.lock"
DATA = Path(__file__).with_name("data_licences.toml")
EXTRAS = ("calendar", "cluster", "encrypted", "fhir", "parquet", "postgres", "web", "xlsx")
LONGEST = 60
"""A longer `License` field is the whole text of a licence, not its name."""
NAMELESS = ("Dual License",)
"""What names no licence: the classifiers say which two."""
PHRASES = {"Altered source versions must be plainly marked as such": "Zlib"}
"""By what a licence is known of which only the text is there."""
HEAD = """\
# Licences

Written by `.ci/supply/licences.py`; never by hand. The program itself: Apache-2.0 (`LICENSE`); the fonts that it ships
and puts into documents: OFL-1.1 (`rules/fonts/LICENSE.txt`).
What a package brings with it inside (libraries, fonts) is told by the licence files of that package.

## Packages

| package | licence | needed for |
|---|---|---|
"""
FONTS = """
## Fonts

| files | licence |
|---|---|
"""
TABLES = """
## Data

| file | terms |
|---|---|
"""
DERIVED = """
## Tables worked out from somebody's data

No data set is contained: what is carried is said for each.

| files | data | found in | under | what is carried |
|---|---|---|---|---|
"""
FIELDS = ("data", "found", "licence", "carried")
WORKED_OUT = ("computed from", "computed by", "computed for", "PyPI ", "R package", "github.com/")
"""How a table says in its source or provenance that it was worked out from data."""


def licence_of(found: Distribution) -> str:
    """Return the licence that a package says it has, "" where it says none."""
    metadata = found.metadata
    if said := metadata.get("License-Expression"):
        return said
    said = (metadata.get("License") or "").strip()
    if said and len(said) <= LONGEST and "\n" not in said and said not in NAMELESS:
        return said
    kinds = [one.split(" :: ") for one in metadata.get_all("Classifier") or () if one.startswith("License :: ")]
    if kinds:
        return " or ".join(kind[-1] for kind in kinds)
    texts = (file for file in found.files or () if "licen" in file.name.lower() or file.name == "COPYING")
    words = " ".join(" ".join(file.read_text().split()) for file in texts)
    return next((name for phrase, name in PHRASES.items() if phrase in words), "")


def closure(words: Iterable[str]) -> set[str]:
    """Return the names of all that these requirements need, as installed here."""
    found: set[str] = set()
    seen: set[tuple[str, frozenset[str]]] = set()
    coming = [Requirement(word) for word in words]
    while coming:
        wanted = coming.pop()
        name, extras = canonicalize_name(wanted.name), frozenset(wanted.extras)
        if (name, extras) in seen:
            continue
        seen.add((name, extras))
        try:
            needs = distribution(name).requires or ()
        except PackageNotFoundError:
            continue
        found.add(name)
        for word in needs:
            more = Requirement(word)
            if more.marker is None or any(more.marker.evaluate({"extra": extra}) for extra in ("", *extras)):
                coming.append(more)
    return found


def locked() -> list[str]:
    """Return the names of the lock by name, each once, whatever Python or system they are for."""
    lines = (line.split("#")[0].strip() for line in LOCK.read_text(encoding="utf-8").splitlines())
    return sorted({canonicalize_name(Requirement(line).name) for line in lines if line})


def packages() -> tuple[dict[str, str], list[str]]:
    """Return the row of each package of the lock that is installed, and what is wrong: no licence."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    optional = project["optional-dependencies"]
    groups = {"the program": closure(project["dependencies"])}
    groups |= {f"the extra `{extra}`": closure(optional[extra]) for extra in EXTRAS}
    rows, wrong = {}, []
    for name in locked():
        try:
            found = distribution(name)
        except PackageNotFoundError:
            continue  # for another system or another Python
        said = licence_of(found)
        if not said:
            wrong.append(f"{name}: found no licence in its metadata or files; ask its authors, or leave it out")
        where = [group for group, members in groups.items() if name in members] or ["the tests"]
        rows[name] = f"| {name} | {said} | {where[0] if where[0] == 'the program' else ', '.join(where)} |"
    return rows, wrong


def data() -> tuple[list[str], list[str]]:
    """Return a row for each table of data, and what is wrong: a table without terms, or terms without a table."""
    kinds = tomllib.loads(DATA.read_text(encoding="utf-8"))["kind"]
    terms = {name: kind["terms"] for kind in kinds for name in kind["files"]}
    there = {str(file.relative_to(RULES)) for part in ("growth", "harms") for file in (RULES / part).glob("*.toml")}
    wrong = [f"rules/{name}: found no terms, expected it in {DATA.name}" for name in sorted(there - set(terms))]
    wrong += [f"{DATA.name}: rules/{name} is not there; take it out" for name in sorted(set(terms) - there)]
    return [f"| rules/{name} | {terms[name]} |" for name in sorted(there & set(terms))], wrong


def derived() -> tuple[list[str], list[str]]:
    """Return a row for each data set that tables were worked out from, and what is wrong: a table without its row."""
    entries = tomllib.loads(DATA.read_text(encoding="utf-8")).get("derived", [])
    wrong = [
        f"{DATA.name}: [[derived]] of {', '.join(one['files'])}: found no `{field}`, expected it in words"
        for one in entries
        for field in FIELDS
        if not one.get(field)
    ]
    named = {name for one in entries for name in one["files"]}
    wrong += [
        f"{DATA.name}: rules/{name} is not there; take it out" for name in sorted(named) if not (RULES / name).exists()
    ]
    wrong += [
        f"rules/{name}: was worked out from data, expected a [[derived]] in {DATA.name}"
        for name in sorted(worked_out() - named)
    ]
    rows = [
        f"| {', '.join(f'rules/{name}' for name in one['files'])} | {' | '.join(str(one.get(f)) for f in FIELDS)} |"
        for one in entries
    ]
    return rows, wrong


def worked_out() -> set[str]:
    """Return the tables that say in their source or provenance that they were worked out from data."""
    found = set()
    for part in ("growth", "harms"):
        for file in (RULES / part).glob("*.toml"):
            table = tomllib.loads(file.read_text(encoding="utf-8"))
            said = f"{table.get('source', '')} {table.get('provenance', '')}"
            if "columns" in table and any(words in said for words in WORKED_OUT):
                found.add(str(file.relative_to(RULES)))
    return found


def kept() -> dict[str, str]:
    """Return the rows of packages of the file as it is, by name; {} where there is none."""
    if not OUT.exists():
        return {}
    part = OUT.read_text(encoding="utf-8").removeprefix(HEAD).split(FONTS)[0]
    return {line.split("|")[1].strip(): line for line in part.splitlines() if line.startswith("| ")}


def text() -> tuple[str, list[str]]:
    """Return the whole file and what is wrong. A package for another system keeps the row that it has."""
    rows, wrong = packages()
    tables, faults = data()
    sets, more = derived()
    before = kept()
    missing = [name for name in locked() if name not in rows and name not in before]
    wrong += [f"{name}: not installed here and not listed; run this where it is installed" for name in missing]
    whole = [rows.get(name) or before[name] for name in locked() if name in rows or name in before]
    fonts = ", ".join(sorted(file.name for file in (RULES / "fonts").glob("*.ttf")))
    font = f"| rules/fonts: {fonts} | SIL Open Font License 1.1 (`rules/fonts/LICENSE.txt`) |"
    parts = (
        HEAD,
        "\n".join(whole),
        "\n",
        FONTS,
        font,
        "\n",
        TABLES,
        "\n".join(tables),
        "\n",
        DERIVED,
        "\n".join(sets),
        "\n",
    )
    return "".join(parts), wrong + faults + more


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--check", action="store_true", help="write nothing; fail where the file is out of step")
    asked = parser.parse_args()
    new, problems = text()
    if problems:
        sys.exit("\n".join(problems))
    if not asked.check:
        OUT.write_text(new, encoding="utf-8")
    elif not OUT.exists() or OUT.read_text(encoding="utf-8") != new:
        sys.exit(f"{OUT.relative_to(ROOT)} is out of step: run .ci/supply/licences.py")
    print(f"{OUT.relative_to(ROOT)} is in step")
