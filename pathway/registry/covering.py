"""Putting what is saved under a signed head, in the transaction that saves it. An edge."""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Sequence

from sqlalchemy import Connection, select

from pathway.registry.db import tables, tree_rows
from pathway.registry.journal.acts import Act, act, entry_leaf
from pathway.registry.journal.signed import SignedHead, public_hex, sign_head
from pathway.registry.journal.tree import Tree, read_hash
from pathway.registry.workstation import Workstation

Link = tuple[str, int, str]
"""An entry as the tree knows it: child, sequence and the hash of the entry."""


def cover(
    connection: Connection, station: Workstation, links: Iterable[Link], acts: Sequence[Act], at: str, who: str
) -> SignedHead:
    """Give entries and acts the next numbers of the registry, sign the head of the tree after them and keep it.

    A workstation that signs here for the first time is written down before. Leaves that nobody signed are hashed in
    but not answered for: `verify` names them.
    """
    public = public_hex(station.key)
    first = () if is_registered(connection, public) else (_key_act(public, at, who),)
    made: list[tuple[tuple[str, int] | Act, bytes]] = [(one, one.leaf) for one in first]
    made += [((child, sequence), entry_leaf(child, sequence, sha256)) for child, sequence, sha256 in links]
    made += [(one, one.leaf) for one in acts]
    since = tree_rows.leaf_count(connection)
    tree = _tree(connection, since).with_leaves(leaf for _, leaf in made)
    tree_rows.add_leaves(connection, since, made)
    tree_rows.keep_tree(connection, tree)
    head = sign_head(station.key, tree, since, at)
    tree_rows.keep_head(connection, head)
    return head


def is_registered(connection: Connection, public: str) -> bool:
    """Return whether a workstation's key is written down in the registry."""
    return any(one.said.get("public_key") == public for one in tree_rows.acts(connection, "key").values())


def cover_all(connection: Connection, station: Workstation, at: str, who: str) -> SignedHead:
    """Put every entry of a registry that has no tree yet under a first signed head, by the moments they were made.

    Within a child the order of the chain holds, whatever its moments say.
    """
    entry = tables.entry.c
    query = select(entry.child, entry.sequence, entry.sha256, entry.at).order_by(entry.child, entry.sequence)
    ordered: list[tuple[str, str, int, str]] = []
    child, latest = "", ""
    for row in connection.execute(query):
        latest = max(latest, row.at) if row.child == child else row.at
        child = row.child
        ordered.append((latest, row.child, row.sequence, row.sha256))
    ordered.sort()
    links = ((child, sequence, sha256) for _, child, sequence, sha256 in ordered)
    return cover(connection, station, links, (), at, who)


def _tree(connection: Connection, size: int) -> Tree:
    """Return the tree as it stands: by its peaks where they are those of the head signed last, else of all leaves."""
    head = tree_rows.last_head(connection)
    kept = tree_rows.kept_tree(connection, size)
    if kept is not None and head is not None and (head.size, head.root) == (size, kept.root):
        return kept
    return Tree().with_leaves(read_hash(leaf) for *_, leaf in tree_rows.leaves(connection))


def _key_act(public: str, at: str, who: str) -> Act:
    return act("key", at, who, {"public_key": public, "salt": secrets.token_hex(16)})
