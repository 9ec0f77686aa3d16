"""Somebody who alters the file of a registry behind the program's back, with all the hashes that he can make fit."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from pathlib import Path

from pathway.registry.db.tables import GUARDS, guard_name, guard_text
from pathway.registry.journal.acts import entry_leaf
from pathway.registry.journal.chain import link_digest, payload_digest, payload_text
from pathway.registry.journal.tree import Tree, read_hash
from pathway.registry.store import open_registry
from pathway.registry.workstation import Workstation


@dataclass(frozen=True)
class Desk:
    """A registry in a file, its workstation, and somebody else's."""

    folder: Path

    @property
    def file(self) -> Path:
        return self.folder / "registry.db"

    @property
    def station(self) -> Workstation:
        return Workstation(self.folder / "own")

    @property
    def stranger(self) -> Workstation:
        return Workstation(self.folder / "stranger")

    def opened(self, station: Workstation | None = None):
        return open_registry(str(self.file), station=station or self.station)

    def alter(self, *statements: str | tuple[str, tuple[object, ...]], guards: bool = True) -> None:
        """Run statements with the guards taken away; they are put back unless the statements are about them."""
        with sqlite3.connect(self.file) as connection:
            for guard in GUARDS:
                connection.execute(f"DROP TRIGGER {guard_name(*guard)}")
            for one in statements:
                connection.execute(*((one,) if isinstance(one, str) else one))
            for guard in GUARDS if guards else ():
                connection.execute(guard_text(*guard, "sqlite"))
        connection.close()

    def alter_bare(self, *statements: str) -> None:
        """Run statements where there are no guards left to take away."""
        with sqlite3.connect(self.file) as connection:
            for one in statements:
                connection.execute(one)
        connection.close()

    def ask(self, query: str) -> list[tuple]:
        with sqlite3.connect(self.file) as connection:
            found = connection.execute(query).fetchall()
        connection.close()
        return found


def links(desk: Desk, child: str) -> list[sqlite3.Row]:
    with sqlite3.connect(desk.file) as connection:
        connection.row_factory = sqlite3.Row
        rows = connection.execute("SELECT * FROM entry WHERE child = ? ORDER BY sequence", (child,)).fetchall()
    connection.close()
    return rows


def hashed(row, **changed: object) -> dict[str, object]:
    """Return a row of an entry with something changed and the hash that fits."""
    fields = {**dict(row), **changed}
    said = {name: value for name, value in fields.items() if name not in ("at", "sha256")}
    return {**fields, "sha256": link_digest(when=fields["at"], **said)}


def put(table: str, fields: dict[str, object]) -> tuple[str, tuple[object, ...]]:
    marks = ", ".join("?" * len(fields))
    return f"INSERT OR REPLACE INTO {table} ({', '.join(fields)}) VALUES ({marks})", tuple(fields.values())


def forged(desk: Desk, child: str, kind: str, payload: dict) -> list[tuple[str, tuple[object, ...]]]:
    """Return the rows of an entry that fits its chain in every hash."""
    last, text = links(desk, child)[-1], payload_text(payload)
    new = hashed(
        last,
        sequence=last["sequence"] + 1,
        kind=kind,
        supersedes=None,
        previous_sha256=last["sha256"],
        payload_sha256=payload_digest("00", text),
    )
    body = {"child": child, "sequence": new["sequence"], "salt": "00", "body": text}
    return [put("entry", new), put("payload", body)]


def leaf_for(desk: Desk, statement: tuple[str, tuple[object, ...]]) -> dict[str, object]:
    fields = dict(zip(("child", "sequence"), statement[1][:2], strict=True))
    (number,) = desk.ask("SELECT max(number) + 1 FROM leaf")[0]
    sha256 = next(one for one in reversed(statement[1]) if isinstance(one, str) and len(one) == 64)
    return {"number": number, **fields, "sha256": entry_leaf(*fields.values(), sha256).hex()}


def whole_tree(desk: Desk, *more: str) -> Tree:
    leaves = [one for (one,) in desk.ask("SELECT sha256 FROM leaf ORDER BY number")]
    return Tree().with_leaves(read_hash(one) for one in (*leaves, *more))


def peaks(tree: Tree) -> list:
    return ["DELETE FROM peak", *(put("peak", {"place": i, "sha256": p.hex()}) for i, p in enumerate(tree.peaks))]
