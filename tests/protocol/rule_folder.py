"""A copy of the shipped rules in which one text is replaced by another."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

SHIPPED = Path(__file__).parents[2] / "rules"


@dataclass(frozen=True)
class Planted:
    """One fault planted into one rule file: `old` (found exactly where `after` first stands) becomes `new`.

    `rule` is the id that the complaint must name, `says` a word of what is wrong.
    """

    name: str
    file: str
    after: str
    old: str
    new: str
    rule: str
    says: str


def copy_of_rules(folder: Path) -> Path:
    target = folder / "rules"
    shutil.copytree(SHIPPED, target, ignore=shutil.ignore_patterns("__pycache__", "*.py"))
    return target


def plant(folder: Path, fault: Planted) -> Path:
    rules = copy_of_rules(folder)
    path = next(rules.rglob(fault.file))
    text = path.read_text(encoding="utf-8")
    at = text.index(fault.after)
    assert fault.old in text[at:], f"{fault.file} no longer says {fault.old!r} after {fault.after!r}"
    path.write_text(text[:at] + text[at:].replace(fault.old, fault.new, 1), encoding="utf-8")
    return rules


def append(folder: Path, file: str, text: str) -> Path:
    rules = copy_of_rules(folder)
    path = next(rules.rglob(file))
    path.write_text(path.read_text(encoding="utf-8") + "\n" + text, encoding="utf-8")
    return rules
