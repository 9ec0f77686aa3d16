"""Plans kept for lists: signed one by one and all together, so that an altered or missing one is found. An edge.

One that was altered is passed over by who reads, and named: the child then counts as one without a plan.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import zlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, delete, insert, select

from pathway.registry.db import tables, tree_rows
from pathway.registry.journal.entry import Head, StoredPlan
from pathway.registry.journal.signed import is_signed, plan_statement, public_hex, roll_statement
from pathway.registry.workstation import Workstation

_TABLE = tables.stored_plan
_SIGNED = ("child", "head_count", "head_sha256", "protocol_version", "protocol_digest", "on_day", "summary")
_SMALL = [column for column in _TABLE.c if column.name != "plan"]


@dataclass(frozen=True, slots=True)
class Kept:
    """The stored plans that are as they were made, and the children whose plan is not.

    `kept` is how many there should be, None where that is not known; `roll` whether they are those kept together.
    """

    plans: tuple[StoredPlan, ...]
    damaged: tuple[str, ...]
    kept: int | None
    roll: bool


def sound(connection: Connection, layout: int, *, whole: bool) -> Kept:
    """Return the stored plans, by child; the plans themselves only when `whole`."""
    if layout < tables.LAYOUT:
        old = [_TABLE.c[name] for name in _SIGNED] + ([_TABLE.c.plan] if whole else [])
        plans, damaged = _read(connection.execute(select(*old).order_by(_TABLE.c.child)), lambda row: True)
        return Kept(plans, damaged, None, True)
    rows = connection.execute(select(*(_TABLE.c if whole else _SMALL)).order_by(_TABLE.c.child)).all()
    keys = _keys(connection)
    roll = connection.execute(select(tables.plan_roll)).first()
    together = _on_roll(rows, roll, keys)
    plans, damaged = _read(rows, lambda row: (together or _genuine(row, keys)) and _body_fits(row))
    kept = None if roll is None else int(roll._mapping["count"])
    return Kept(plans, damaged, kept, together or (roll is None and not rows))


def of_child(connection: Connection, layout: int, child: str) -> StoredPlan | None:
    """Return the whole plan of a child, None where there is none as it was made."""
    columns = list(_TABLE.c) if layout >= tables.LAYOUT else [_TABLE.c[name] for name in (*_SIGNED, "plan")]
    rows = connection.execute(select(*columns).where(_TABLE.c.child == child))
    keys = _keys(connection) if layout >= tables.LAYOUT else frozenset()
    plans, _ = _read(rows, lambda row: layout < tables.LAYOUT or (_genuine(row, keys) and _body_fits(row)))
    return plans[0] if plans else None


def store(connection: Connection, station: Workstation, plans: Sequence[StoredPlan]) -> None:
    """Keep plans, each in place of the one before it, and sign them and the roll of all."""
    roll = _trusted(connection)
    rows = [_row(plan, station) for plan in plans]
    if rows:
        connection.execute(delete(_TABLE).where(_TABLE.c.child.in_([plan.child for plan in plans])))
        connection.execute(insert(_TABLE), rows)
    _sign_roll(connection, station, roll | {row["child"]: _said(row) for row in rows})


def drop(connection: Connection, station: Workstation, child: str | None = None) -> None:
    """Forget the plan of a child, or every plan."""
    roll = _trusted(connection)
    connection.execute(delete(_TABLE) if child is None else delete(_TABLE).where(_TABLE.c.child == child))
    _sign_roll(connection, station, {} if child is None else {k: said for k, said in roll.items() if k != child})


def _trusted(connection: Connection) -> dict[str, bytes]:
    """Return what is signed of each plan that is as it was made: only these are signed for again."""
    keys = _keys(connection)
    rows = connection.execute(select(*_SMALL).order_by(_TABLE.c.child)).all()
    together = _on_roll(rows, connection.execute(select(tables.plan_roll)).first(), keys)
    return {row.child: _said(row._mapping) for row in rows if together or _genuine(row, keys)}


def _sign_roll(connection: Connection, station: Workstation, roll: Mapping[str, bytes]) -> None:
    count, said = roll_statement(sorted(roll.items()))
    signed = {"public_key": public_hex(station.key), "signature": station.key.sign(said).hex()}
    connection.execute(delete(tables.plan_roll))
    connection.execute(insert(tables.plan_roll), [{"number": 1, "count": count, **signed}])


def _keys(connection: Connection) -> frozenset[str]:
    return frozenset(str(one.said.get("public_key")) for one in tree_rows.acts(connection, "key").values())


def _on_roll(rows: Iterable[Row[Any]], roll: Row[Any] | None, keys: frozenset[str]) -> bool:
    if roll is None or roll.public_key not in keys:
        return False
    count, said = roll_statement(sorted((row.child, _said(row._mapping)) for row in rows))
    kept = int(roll._mapping["count"])
    return bool(count == kept) and is_signed(said, str(roll.public_key), str(roll.signature))


def _genuine(row: Row[Any], keys: frozenset[str]) -> bool:
    return str(row.public_key) in keys and is_signed(_said(row._mapping), str(row.public_key), str(row.signature))


def _body_fits(row: Row[Any]) -> bool:
    if "plan" not in row._mapping:
        return True
    body = row.plan
    digest = None if body is None else hashlib.sha256(bytes(body)).hexdigest()
    return bool(digest == row.plan_sha256)


def _said(fields: Mapping[Any, Any]) -> bytes:
    return plan_statement({name: str(fields[name]) for name in (*_SIGNED, "plan_sha256", "public_key")})


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


def _read(rows: Iterable[Row[Any]], fits: Any) -> tuple[tuple[StoredPlan, ...], tuple[str, ...]]:
    plans: list[StoredPlan] = []
    damaged: list[str] = []
    for row in rows:
        try:
            if not fits(row):
                raise ValueError("altered")
            plans.append(_plan(row))
        except (ValueError, TypeError, AttributeError, zlib.error, RecursionError):
            damaged.append(str(row.child))
    return tuple(plans), tuple(damaged)


def _plan(row: Row[Any]) -> StoredPlan:
    packed = row._mapping.get("plan")
    return StoredPlan(
        child=row.child,
        head=Head(row.head_count, row.head_sha256),
        protocol_version=row.protocol_version,
        protocol_digest=row.protocol_digest,
        on=datetime.date.fromisoformat(row.on_day),
        summary=dict(json.loads(row.summary)),
        plan_json=None if packed is None else zlib.decompress(packed).decode(),
    )
