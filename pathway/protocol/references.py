"""Which entries of the protocol refer to which, by kind: what hangs on a rule, a stage, a finding, a source."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any, get_args

from pydantic import BaseModel

from pathway.protocol.model import Condition, Protocol, Type

NOT_KINDS = ("complications", "switched_off")
NAMING_FIELDS = (
    "sources",
    "stage",
    "guards",
    "otherwise",
    "instead",
    "stages",
    "around",
    "mends",
    "alters",
    "derived_from",
    "sd_value",
    "applies_to",
    "diagnoses",
    "rules",
    "evidence",
    "weights",
    "earlier_stage",
    "later_stage",
    "month_weight",
    "school_weight",
    "weight_finding",
    "outgrown",
    "devices",
    "count",
)


@cache
def kinds() -> Mapping[str, type[BaseModel]]:
    """Return the parts of a protocol that hold entries with ids, and the shape of the entries of each."""
    found: dict[str, type[BaseModel]] = {}
    for name, field in Protocol.model_fields.items():
        arguments = get_args(field.annotation)
        shape = arguments[0] if arguments else None
        if name not in NOT_KINDS and isinstance(shape, type) and issubclass(shape, BaseModel):
            found[name] = shape
    return found


def entries(protocol: Protocol) -> Iterator[tuple[str, Any]]:
    """Yield every entry with its kind, each type of a classification after its scheme (kind `types`)."""
    for kind in kinds():
        for entry in getattr(protocol, kind):
            yield kind, entry
            for type_ in getattr(entry, "types", ()):
                yield "types", type_


def local_ids(protocol: Protocol) -> tuple[str, ...]:
    """Return the ids of everything that a clinic's overlay changed or added, in the order of the protocol."""
    return tuple(entry.id for _, entry in entries(protocol) if getattr(entry, "local", False))


def conditions_of(entry: Any) -> tuple[Condition, ...]:
    """Return the conditions that an entry itself holds (those of its types left out)."""
    fields = (getattr(entry, name, None) for name in type(entry).model_fields)
    return tuple(field for field in fields if isinstance(field, Condition))


@cache
def _naming_fields(shape: type[BaseModel]) -> tuple[str, ...]:
    """Return the fields and properties of a shape that name other entries."""
    return tuple(name for name in NAMING_FIELDS if name in shape.model_fields or hasattr(shape, name))


def named_by(entry: Any) -> frozenset[str]:
    """Return every id that an entry names: sources, stages, findings, schemes, diagnoses; its types left out."""
    names: set[str] = set()
    for field in _naming_fields(entry.__class__):
        value = getattr(entry, field)
        names.update((value,) if isinstance(value, str) else value or ())
    for side in getattr(entry, "sides", ()):
        names.update(side.sources)
    for condition in conditions_of(entry):
        for leaf in condition.leaves():
            names.update(
                name for name in (leaf.finding, leaf.classification, leaf.diagnosis, leaf.stage) if name is not None
            )
    return frozenset(names - {getattr(entry, "id", "")})


def users(protocol: Protocol) -> Mapping[str, tuple[str, ...]]:
    """Return for each id the ids of the entries that name it, in the order of the protocol."""
    found: dict[str, list[str]] = {}
    for _, entry in entries(protocol):
        for name in sorted(named_by(entry)):
            found.setdefault(name, []).append(entry.id)
    return {name: tuple(dict.fromkeys(ids)) for name, ids in found.items()}


def find(protocol: Protocol, id: str) -> tuple[tuple[str, Any], ...]:
    """Return every entry of that id with its kind; a stage and a table may share a name."""
    return protocol.with_id(id, lambda: entries(protocol))


def scheme_of(protocol: Protocol, type_: Type) -> str:
    """Return the id of the classification that a type belongs to, or ""."""
    return next((scheme.id for scheme in protocol.classifications if type_ in scheme.types), "")
