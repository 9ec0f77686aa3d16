"""Phrases that were reworded: no string of the program says them again."""

from __future__ import annotations

import ast
import tomllib
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[3]
REWORDED = ROOT / "tests" / "data" / "wording" / "reworded_code.toml"


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


def test_no_reworded_phrase_comes_back() -> None:
    phrases = tomllib.loads(REWORDED.read_text(encoding="utf-8"))["reworded"]
    assert len({item["was"] for item in phrases}) == len(phrases) > 400
    told = {
        file: "\n".join(spoken(file)) for folder in ("pathway", "tui") for file in sorted((ROOT / folder).rglob("*.py"))
    }
    back = [
        f"{file.relative_to(ROOT)}: {item['was']!r}, now: {item['now']!r}"
        for item in phrases
        for file, text in told.items()
        if item["was"] in text
    ]
    assert back == []
