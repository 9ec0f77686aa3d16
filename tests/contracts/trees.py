"""A copy of the source tree in which a test may plant a fault, and the tools run on a tree."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
SETTINGS = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def copied_tree(folder: Path) -> Path:
    """Return a folder with the sources and settings of the project, byte code and caches left out."""
    for package in ("pathway", "tui"):
        shutil.copytree(ROOT / package, folder / package, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", folder)
    return folder


def plant(tree: Path, module: str, lines: str) -> None:
    """Append `lines` to a module of the tree."""
    file = tree.joinpath(*module.split("."))
    file = file / "__init__.py" if file.is_dir() else file.with_suffix(".py")
    file.write_text(f"{file.read_text(encoding='utf-8')}\n\n{lines}", encoding="utf-8")


def plant_new(tree: Path, module: str, lines: str) -> None:
    """Write a module that the tree did not have."""
    tree.joinpath(*module.split(".")).with_suffix(".py").write_text(f'"""Planted."""\n\n{lines}', encoding="utf-8")


def lint_imports(tree: Path) -> subprocess.CompletedProcess[str]:
    """Run the import contracts of `tree` on `tree`."""
    tool = shutil.which("lint-imports", path=str(Path(sys.executable).parent))
    assert tool is not None, "lint-imports is not installed beside Python"
    return subprocess.run([tool, "--no-cache"], cwd=tree, capture_output=True, text=True, check=False)


def ruff(tree: Path, file: str) -> subprocess.CompletedProcess[str]:
    """Run ruff with the settings of `tree` on one of its files."""
    command = [sys.executable, "-m", "ruff", "check", "--no-cache", "--output-format", "concise", file]
    return subprocess.run(command, cwd=tree, capture_output=True, text=True, check=False)
