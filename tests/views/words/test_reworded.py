"""Phrases that were reworded: no string of the program and no text of the rules says them again."""

from __future__ import annotations

import ast
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[3]
WORDING = ROOT / "tests" / "data" / "wording"


def spoken(file: Path) -> Iterator[str]:
    """Yield the strings of a module that are not docstrings; `…` stands for what an f-string fills in."""
    tree = ast.parse(file.read_text(encoding="utf-8"))
    silent = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            parts = (part.value if isinstance(part, ast.Constant) else "…" for part in node.values)
            yield "".join(str(part) for part in parts)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in silent:
            yield node.value


def texts_of(table: Any) -> Iterator[str]:
    """Yield every text of a parsed rule file."""
    if isinstance(table, str):
        yield table
    elif isinstance(table, dict | list):
        for item in table.values() if isinstance(table, dict) else table:
            yield from texts_of(item)


def reworded(name: str) -> list[dict[str, str]]:
    """Return the phrases of a list, each once."""
    phrases: list[dict[str, str]] = tomllib.loads((WORDING / name).read_text(encoding="utf-8"))["reworded"]
    assert len({item["was"] for item in phrases}) == len(phrases) > 400
    return phrases


def test_no_reworded_phrase_comes_back_in_the_program() -> None:
    told = {
        file: "\n".join(spoken(file)) for folder in ("pathway", "tui") for file in sorted((ROOT / folder).rglob("*.py"))
    }
    back = [
        f"{file.relative_to(ROOT)}: {item['was']!r}, now: {item['now']!r}"
        for item in reworded("reworded_code.toml")
        for file, text in told.items()
        if item["was"] in text
    ]
    assert back == []


def test_no_reworded_text_comes_back_in_the_rules() -> None:
    files = [file for file in sorted((ROOT / "rules").rglob("*.toml")) if file.parent.name != "wording"]
    told = {file: set(texts_of(tomllib.loads(file.read_text(encoding="utf-8")))) for file in files}
    back = [
        f"{file.relative_to(ROOT)}: {item['was']!r}, now: {item['now']!r}"
        for item in reworded("reworded_rules.toml")
        for file, texts in told.items()
        if item["was"] in texts
    ]
    assert back == []
