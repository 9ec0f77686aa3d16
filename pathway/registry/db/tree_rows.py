"""Between rows of the tables and what the tree of the registry is made of."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sqlalchemy import Connection, delete, func, insert, select

from pathway.registry.db import tables
from pathway.registry.journal.acts import Act
from pathway.registry.journal.signed import SignedHead
from pathway.registry.journal.tree import Tree

_HEAD = [column for column in tables.signed_head.c if column.name != "number"]


def last_head(connection: Connection) -> SignedHead | None:
    """Return the head signed last, None where nothing was signed yet."""
    row = connection.execute(select(*_HEAD).order_by(tables.signed_head.c.number.desc()).limit(1)).first()
    return None if row is None else SignedHead(**row._mapping)


def head_of_size(connection: Connection, size: int) -> SignedHead | None:
    """Return the head that was signed when there were so many leaves."""
    row = connection.execute(select(*_HEAD).where(tables.signed_head.c.size == size).limit(1)).first()
    return None if row is None else SignedHead(**row._mapping)


def heads(connection: Connection) -> tuple[SignedHead, ...]:
    """Return every signed head in order."""
    found = connection.execute(select(*_HEAD).order_by(tables.signed_head.c.number))
    return tuple(SignedHead(**row._mapping) for row in found)


def acts(connection: Connection, *kinds: str) -> dict[int, Act]:
    """Return the acts by the number of their leaf, of some kinds only where such are named."""
    table = tables.act
    query = select(table).order_by(table.c.number)
    found = connection.execute(query.where(table.c.kind.in_(kinds)) if kinds else query)
    return {row.number: Act(row.kind, row.at, row.who, row.body) for row in found}


def leaves(connection: Connection) -> Iterator[tuple[int, str | None, int | None, str]]:
    """Yield number, child, sequence and hash of every leaf in order; child and sequence are None for an act."""
    for row in connection.execute(select(tables.leaf).order_by(tables.leaf.c.number)):
        yield row.number, row.child, row.sequence, row.sha256


def leaf_count(connection: Connection) -> int:
    """Return the number that the next leaf gets."""
    last = connection.scalar(select(func.max(tables.leaf.c.number)))
    return 0 if last is None else last + 1


def origin(connection: Connection) -> str | None:
    """Return the leaf of the first key: it tells one registry from another. None before anything was signed."""
    table = tables.act
    query = select(table.c.number).where(table.c.kind == "key").order_by(table.c.number).limit(1)
    number = connection.scalar(query)
    if number is None:
        return None
    return connection.scalar(select(tables.leaf.c.sha256).where(tables.leaf.c.number == number))


def kept_tree(connection: Connection, size: int) -> Tree | None:
    """Return the tree by its kept peaks, None where they cannot be those of so many leaves."""
    found = connection.execute(select(tables.peak.c.sha256).order_by(tables.peak.c.place))
    try:
        tree = Tree(size, tuple(bytes.fromhex(row.sha256) for row in found))
    except (ValueError, TypeError):
        return None
    return tree if tree.whole else None


def keep_tree(connection: Connection, tree: Tree) -> None:
    """Keep the peaks of a tree in place of those before."""
    connection.execute(delete(tables.peak))
    values = [{"place": place, "sha256": peak.hex()} for place, peak in enumerate(tree.peaks)]
    connection.execute(insert(tables.peak), values)


def add_leaves(connection: Connection, first: int, made: Sequence[tuple[tuple[str, int] | Act, bytes]]) -> None:
    """Add leaves from number `first` on, each of an entry (child and sequence) or of an act, with its hash."""
    rows, done = [], []
    for number, (what, sha256) in enumerate(made, start=first):
        child, sequence = (None, None) if isinstance(what, Act) else what
        rows.append({"number": number, "child": child, "sequence": sequence, "sha256": sha256.hex()})
        if isinstance(what, Act):
            said = {"kind": what.kind, "at": what.at, "who": what.who, "body": what.body}
            done.append({"number": number, **said})
    connection.execute(insert(tables.leaf), rows)
    if done:
        connection.execute(insert(tables.act), done)


def keep_head(connection: Connection, head: SignedHead) -> None:
    """Keep a signed head after those before it."""
    last = connection.scalar(select(func.max(tables.signed_head.c.number))) or 0
    values = {"number": last + 1} | {column.name: getattr(head, column.name) for column in _HEAD}
    connection.execute(insert(tables.signed_head), [values])
