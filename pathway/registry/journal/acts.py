"""What is kept of the registry itself, beside the entries of children, and the leaves of both in the tree. Pure.

| kind | body |
|---|---|
| `key` | `public_key` of a workstation that saves here from now on, and a `salt` that tells registries apart |
| `countersign` | `size`, `root` of the head that a second workstation verified, `public_key`, `signature` |
| `backup` | `file`, `size`, `root`: a copy was made and verified |
| `drill` | `file`, `sound`, `result`: a backup was restored aside and planned from, as a rehearsal |
| `sweep` | `left`: what of erased text could not be taken out of the file, [] where nothing is left |
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from pathway.registry.journal.tree import leaf_hash

ActKind = Literal["key", "countersign", "backup", "drill", "sweep"]


@dataclass(frozen=True, slots=True)
class Act:
    """Something that was done to the registry as a whole: `at` as it is hashed, `body` as canonical JSON."""

    kind: str
    at: str
    who: str
    body: str

    @property
    def said(self) -> Mapping[str, Any]:
        """Return the body as data, {} where it cannot be read."""
        try:
            data = json.loads(self.body)
        except (ValueError, RecursionError):
            return {}
        return data if isinstance(data, dict) else {}

    @property
    def leaf(self) -> bytes:
        """Return the hash of its leaf."""
        return _leaf("act", self.kind, self.at, self.who, self.body)


def act(kind: ActKind, at: str, who: str, body: Mapping[str, Any]) -> Act:
    """Return an act with its body as it is kept."""
    return Act(kind, at, who, json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=True))


def entry_leaf(child: str, sequence: int, sha256: str) -> bytes:
    """Return the hash of the leaf of an entry; the hash of the entry covers all that it says."""
    return _leaf("entry", child, sequence, sha256)


def _leaf(*said: object) -> bytes:
    return leaf_hash(json.dumps(said, separators=(",", ":"), ensure_ascii=True).encode())
