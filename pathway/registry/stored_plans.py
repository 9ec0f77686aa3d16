"""Plans kept for lists: signed one by one and all together, so that an altered or missing one is found. An edge.

Beside each stands what it asks for by when, and a mark: the digest of its row. The marks are what is signed all
together, so that a list reads them once and then has to hash each row only. Who reads passes over a plan that was
altered, and names it: the child then counts as one without a plan.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any, TypeVar

from sqlalchemy import Connection, Row, delete, insert, null, select

from pathway.registry import stored_due
from pathway.registry.db import due_tables, tables, tree_rows
from pathway.registry.journal.entry import StoredPlan
from pathway.registry.journal.signed import is_signed, plan_statement, public_hex, roll_statement
from pathway.registry.workstation import Workstation

BATCH = 1000
"""How many plans are read or written in one statement."""
NOT_STORED, NOT_READ, LOST = "it is not what was stored", "it cannot be read", "it is missing, though it was stored"
NOT_ASKED, NOT_SIGNED = "what it asks for is not what was stored", "no workstation of this registry signed it"
_TABLE = tables.stored_plan
_Some = TypeVar("_Some")
_MARK = due_tables.planned.c.row_sha256.label("mark")
_FIRST = ("child", "head_count", "head_sha256", "protocol_version", "protocol_digest", "on_day", "summary")
"""The columns that the first layout has beside the plan; all of them are signed."""


@dataclass(frozen=True, slots=True)
class Trust:
    """What a stored plan is held against: the keys of the workstations, and how much of it is there.

    `signed` is whether this layout signs plans, `indexed` whether there are marks and what plans ask for, `rolled`
    whether the marks are those that were signed all together. Where they are not, every plan needs its own signature.
    """

    keys: frozenset[str] = frozenset()
    signed: bool = False
    indexed: bool = False
    rolled: bool = False


@dataclass(frozen=True, slots=True)
class Kept:
    """The stored plans that are as they were made; whose plan is not, and why; and whose is missing.

    `kept` is how many there should be, None where that is not known; `roll` whether they are those kept together.
    """

    plans: tuple[StoredPlan, ...]
    damaged: Mapping[str, str]
    missing: tuple[str, ...]
    kept: int | None
    roll: bool


def trust(connection: Connection, layout: int) -> Trust:
    """Return what the stored plans of a registry are held against, as it stands."""
    if layout < tables.LAYOUT:
        return Trust()
    keys, indexed = _keys(connection), due_tables.are_there(connection)
    return Trust(keys, True, indexed, indexed and _on_roll(connection, stored_due.marks(connection), keys))


def columns(held: Trust, *, whole: bool = False) -> list[Any]:
    """Return the columns that `judged` needs, of `stored_plan` and where there are marks of `planned`."""
    own = [column for column in _TABLE.c if column.name != "plan"] if held.signed else [_TABLE.c[n] for n in _FIRST]
    return [*own, *([_TABLE.c.plan] if whole else []), _MARK if held.indexed else null().label("mark")]


def judged(
    row: Mapping[Any, Any], held: Trust, asked: Sequence[stored_due.Asked] | None = ()
) -> tuple[StoredPlan | None, str]:
    """Return the plan of a row, and what is wrong with it in words, "" where it is as it was made.

    This is the one place that says so. `asked` is what is kept as asked for by the plan, None where nobody looks at it.
    """
    if held.indexed and row["mark"] != row_digest(row):
        return None, NOT_STORED
    plan = stored_due.read(row)
    if plan is None:
        return None, NOT_READ
    if held.indexed and asked is not None and stored_due.asked_of(plan) != list(asked):
        return None, NOT_ASKED
    if held.signed and not (held.rolled or _genuine(row, held.keys)):
        return None, NOT_SIGNED
    if held.signed and "plan" in row and not _body_fits(row):
        return None, NOT_STORED
    return plan, ""


def sound(connection: Connection, layout: int, *, whole: bool) -> Kept:
    """Return the stored plans, by child, and what is wrong with the others; the plans themselves only when `whole`."""
    held = trust(connection, layout)
    plans: list[StoredPlan] = []
    damaged: dict[str, str] = {}
    there: dict[str, str] = {}
    for row, asked in _rows(connection, held, whole=whole):
        plan, fault = judged(row, held, asked)
        if plan is None:
            damaged[str(row["child"])] = fault
        else:
            plans.append(plan)
        there[str(row["child"])] = row_digest(row) if held.signed else ""
    if not held.signed:
        return Kept(tuple(plans), damaged, (), None, True)
    roll = connection.execute(select(tables.plan_roll)).first()
    known = stored_due.marks(connection) if held.indexed else {}
    missing = tuple(sorted(set(known) - set(there)))
    together = _on_roll(connection, there, held.keys) or (roll is None and not there)
    return Kept(tuple(plans), damaged, missing, None if roll is None else int(roll._mapping["count"]), together)


def of_child(connection: Connection, layout: int, child: str) -> StoredPlan | None:
    """Return the whole plan of a child, None where there is none as it was made."""
    held = trust(connection, layout)
    row = connection.execute(_query(held, whole=True).where(_TABLE.c.child == child)).mappings().first()
    asked = stored_due.kept(connection, child, child).get(child, []) if held.indexed else []
    return None if row is None else judged(row, held, asked)[0]


def store(connection: Connection, station: Workstation, plans: Sequence[StoredPlan]) -> None:
    """Keep plans, each in place of the one before it, with what they ask for, and sign them and the roll of all."""
    roll = _trusted(connection)
    for some in _batches({plan.child: plan for plan in plans}.values()):
        rows = [_row(plan, station) for plan in some]
        digests = [row_digest(row) for row in rows]
        connection.execute(delete(_TABLE).where(_TABLE.c.child.in_([plan.child for plan in some])))
        connection.execute(insert(_TABLE), rows)
        made = [(plan.child, digest, plan) for plan, digest in zip(some, digests, strict=True)]
        stored_due.put(connection, made)
        roll |= {child: digest for child, digest, _ in made}
    _sign_roll(connection, station, roll)


def drop(connection: Connection, station: Workstation, child: str | None = None) -> None:
    """Forget the plan of a child, or every plan, and what it asks for."""
    roll = _trusted(connection)
    connection.execute(delete(_TABLE) if child is None else delete(_TABLE).where(_TABLE.c.child == child))
    stored_due.forget(connection, None if child is None else [child])
    _sign_roll(connection, station, {} if child is None else {k: said for k, said in roll.items() if k != child})


def index(connection: Connection) -> dict[str, str]:
    """Make marks and what plans ask for anew, of every plan that was signed one by one; return the marks."""
    due_tables.make_where_missing(connection)
    stored_due.forget(connection)
    made: dict[str, str] = {}
    held = Trust(_keys(connection), signed=True)
    for some in _batches(row for row, _ in _rows(connection, held, whole=False) if _genuine(row, held.keys)):
        each = [(str(row["child"]), row_digest(row), stored_due.read(row)) for row in some]
        stored_due.put(connection, each)
        made |= {child: digest for child, digest, _ in each}
    return made


def row_digest(row: Mapping[Any, Any]) -> str:
    """Return the digest of what is signed of a stored plan."""
    return hashlib.sha256(_said(row)).hexdigest()


def _trusted(connection: Connection) -> dict[str, str]:
    """Return the mark of each plan that is answered for: only these are signed for again.

    Marks that were not signed all together are made anew of the plans that were signed one by one.
    """
    if due_tables.are_there(connection):
        marks = stored_due.marks(connection)
        if _on_roll(connection, marks, _keys(connection)):
            return marks
    return index(connection)


def _query(held: Trust, *, whole: bool) -> Any:
    found: Any = _TABLE
    if held.indexed:
        found = _TABLE.outerjoin(due_tables.planned, due_tables.planned.c.child == _TABLE.c.child)
    return select(*columns(held, whole=whole)).select_from(found).order_by(_TABLE.c.child)


def _rows(
    connection: Connection, held: Trust, *, whole: bool
) -> Iterator[tuple[Mapping[Any, Any], list[stored_due.Asked]]]:
    """Yield the rows by child, each with what is kept as asked for by it."""
    query, rows = _query(held, whole=whole).limit(BATCH), list[Mapping[Any, Any]]()
    while True:
        after = query.where(_TABLE.c.child > rows[-1]["child"]) if rows else query
        rows = list(connection.execute(after).mappings())
        if not rows:
            return
        asked = stored_due.kept(connection, rows[0]["child"], rows[-1]["child"]) if held.indexed else {}
        for row in rows:
            yield row, asked.get(row["child"], [])


def _batches(those: Iterable[_Some]) -> Iterator[list[_Some]]:
    coming = iter(those)
    while some := list(islice(coming, BATCH)):
        yield some


def _sign_roll(connection: Connection, station: Workstation, roll: Mapping[str, str]) -> None:
    count, said = roll_statement((child, bytes.fromhex(digest)) for child, digest in sorted(roll.items()))
    signed = {"public_key": public_hex(station.key), "signature": station.key.sign(said).hex()}
    connection.execute(delete(tables.plan_roll))
    connection.execute(insert(tables.plan_roll), [{"number": 1, "count": count, **signed}])


def _keys(connection: Connection) -> frozenset[str]:
    return frozenset(str(one.said.get("public_key")) for one in tree_rows.acts(connection, "key").values())


def _on_roll(connection: Connection, digests: Mapping[str, str], keys: frozenset[str]) -> bool:
    """Return whether plans with these digests, and no others, were signed all together."""
    roll: Row[Any] | None = connection.execute(select(tables.plan_roll)).first()
    if roll is None or roll.public_key not in keys:
        return False
    try:
        count, said = roll_statement((child, bytes.fromhex(digest)) for child, digest in sorted(digests.items()))
    except ValueError:
        return False
    return bool(count == roll._mapping["count"]) and is_signed(said, str(roll.public_key), str(roll.signature))


def _genuine(row: Mapping[Any, Any], keys: frozenset[str]) -> bool:
    key = str(row["public_key"])
    return key in keys and is_signed(_said(row), key, str(row["signature"]))


def _body_fits(row: Mapping[Any, Any]) -> bool:
    body = row["plan"]
    try:
        digest = None if body is None else hashlib.sha256(bytes(body)).hexdigest()
    except (TypeError, ValueError):
        return False
    return bool(digest == row["plan_sha256"])


def _said(fields: Mapping[Any, Any]) -> bytes:
    return plan_statement({name: str(fields[name]) for name in (*_FIRST, "plan_sha256", "public_key")})


def _row(plan: StoredPlan, station: Workstation) -> dict[str, Any]:
    body = None if plan.plan_json is None else zlib.compress(plan.plan_json.encode())
    fields: dict[str, Any] = {
        "child": plan.child,
        "head_count": plan.head.count,
        "head_sha256": plan.head.sha256,
        "protocol_version": plan.protocol_version,
        "protocol_digest": plan.protocol_digest,
        "on_day": plan.on.isoformat(),
        "summary": json.dumps(dict(plan.summary), ensure_ascii=True),
        "plan_sha256": None if body is None else hashlib.sha256(body).hexdigest(),
        "public_key": public_hex(station.key),
    }
    return {**fields, "plan": body, "signature": station.key.sign(_said(fields)).hex()}
