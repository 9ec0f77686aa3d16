"""The line of every field of a TOML text, found only when there is something to complain about."""

from __future__ import annotations

import re
from collections.abc import Mapping

import tomli

Path = tuple[str | int, ...]
"""The way to a field: keys, and positions in a list counted from 0."""

_TOKEN = re.compile(
    r'''(?P<string>"""(?:\\.|[^\\])*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:\\.|[^"\\\n])*"|'[^'\n]*')
      |(?P<blank>[ \t\r]+|\#[^\n]*)
      |(?P<newline>\n)
      |(?P<mark>[\[\]{}=,.])
      |(?P<bare>[^\s\[\]{}=,."'\#]+)''',
    re.VERBOSE | re.DOTALL,
)


def dotted(path: Path) -> str:
    """Return a path as a person says it, lists counted from 1: `visit[2].left.femur_length_mm`."""
    words = ""
    for step in path:
        if isinstance(step, int):
            words += f"[{step + 1}]"
        else:
            words += f".{step}" if words else step
    return words


def line_of(lines: Mapping[Path, int], path: Path) -> int | None:
    """Return the line of a field, or of the nearest table around it when the field is missing."""
    for end in range(len(path), 0, -1):
        if path[:end] in lines:
            return lines[path[:end]]
    return None


def field_lines(text: str) -> Mapping[Path, int]:
    """Return the line (from 1) of every table, field and list item of a TOML text that `tomli` accepts."""
    return _Scan(text).lines


class _Scan:
    """One walk over the tokens; it trusts that the text is sound TOML and only keeps count of lines."""

    def __init__(self, text: str) -> None:
        self.lines: dict[Path, int] = {}
        self._tables: dict[Path, int] = {}
        self._tokens: list[tuple[str, str, int]] = []
        line = 1
        for match in _TOKEN.finditer(text):
            if match.lastgroup != "blank":
                self._tokens.append((match.lastgroup or "", match.group(), line))
            line += match.group().count("\n")
        self._tokens.append(("end", "", line))
        self._at = 0
        table: Path = ()
        while self._kind() != "end":
            if self._kind() == "newline":
                self._at += 1
            elif self._text() == "[":
                table = self._header()
            else:
                self._field(table)

    def _kind(self) -> str:
        return self._tokens[self._at][0]

    def _text(self) -> str:
        return self._tokens[self._at][1]

    def _line(self) -> int:
        return self._tokens[self._at][2]

    def _header(self) -> Path:
        line = self._line()
        self._at += 1
        listed = self._text() == "["
        self._at += listed
        keys = self._keys()
        self._at += 1 + listed
        path: Path = ()
        for position, key in enumerate(keys):
            path = (*path, key)
            if listed and position == len(keys) - 1:
                self.lines.setdefault(path, line)
                self._tables[path] = self._tables.get(path, 0) + 1
            if path in self._tables:
                path = (*path, self._tables[path] - 1)
            self.lines.setdefault(path, line)
        return path

    def _keys(self) -> list[str]:
        keys = []
        while self._kind() in ("bare", "string") or self._text() == ".":
            if self._kind() == "string":
                keys.append(str(tomli.loads(f"key = {self._text()}")["key"]))
            elif self._text() != ".":
                keys.append(self._text())
            self._at += 1
        return keys

    def _field(self, table: Path) -> None:
        line = self._line()
        path = table
        for key in self._keys():
            path = (*path, key)
            self.lines.setdefault(path, line)
        self._at += 1
        self._value(path)

    def _value(self, path: Path) -> None:
        if self._text() == "[":
            self._list(path)
        elif self._text() == "{":
            self._inline(path)
        else:
            while self._kind() not in ("newline", "end") and self._text() not in (",", "]", "}"):
                self._at += 1

    def _list(self, path: Path) -> None:
        self._at += 1
        item = 0
        while self._text() != "]" and self._kind() != "end":
            if self._kind() == "newline" or self._text() == ",":
                self._at += 1
                continue
            self.lines.setdefault((*path, item), self._line())
            self._value((*path, item))
            item += 1
        self._at += 1

    def _inline(self, path: Path) -> None:
        self._at += 1
        while self._text() != "}" and self._kind() != "end":
            if self._kind() == "newline" or self._text() == ",":
                self._at += 1
            else:
                self._field(path)
        self._at += 1
