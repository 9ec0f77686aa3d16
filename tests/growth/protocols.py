"""The shipped protocol with one number changed."""

from __future__ import annotations

from pathway.protocol.model import Protocol


def with_value(protocol: Protocol, name: str, value: float) -> Protocol:
    changed = tuple(v.model_copy(update={"value": value}) if v.id == name else v for v in protocol.values)
    parts = {field: getattr(protocol, field) for field in Protocol.model_fields}
    return Protocol.model_construct(**{**parts, "values": changed})
