"""A shipped protocol with a fault planted into it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from pathway.protocol.load import load_protocol
from pathway.protocol.model import AgeWindow, Condition, Contraindication, Gate, Indication, Interval, Protocol

ORIGIN = {"because": "Planted by a test.", "provenance": "judgement", "sources": ("own_judgement",)}


def with_changed(group: str, id: str, **changes: Any) -> Protocol:
    """Return the shipped protocol in which one entry of a group has other fields."""
    protocol = load_protocol()
    items = getattr(protocol, group)
    assert id in {item.id for item in items}
    return _with(group, tuple(item.model_copy(update=changes) if item.id == id else item for item in items))


def with_type(scheme: str, type: str, change: Callable[[Condition], Condition]) -> Protocol:
    """Return the shipped protocol in which the condition of one type is changed."""
    item = next(item for item in load_protocol().classifications if item.id == scheme)
    kinds = tuple(
        kind.model_copy(update={"when": change(kind.when)}) if kind.type == type else kind for kind in item.types
    )
    return with_changed("classifications", scheme, types=kinds)


def with_added(group: str, *items: Any) -> Protocol:
    return _with(group, (*getattr(load_protocol(), group), *items))


def without(group: str, *ids: str) -> Protocol:
    items = getattr(load_protocol(), group)
    assert set(ids) <= {item.id for item in items}
    return _with(group, tuple(item for item in items if item.id not in ids))


def _with(group: str, items: tuple[Any, ...]) -> Protocol:
    protocol = load_protocol()
    return Protocol(**{**{name: getattr(protocol, name) for name in Protocol.model_fields}, group: items})


def condition(**form: Any) -> Condition:
    return Condition.model_validate(form)


def gate(guards: str, requires: dict[str, Any], **more: Any) -> Gate:
    return Gate.model_validate({**ORIGIN, "id": "planted", "guards": guards, "requires": requires, **more})


def indication(stage: str, when: dict[str, Any], **more: Any) -> Indication:
    return Indication.model_validate({**ORIGIN, "id": "planted", "stage": stage, "when": when, **more})


def contraindication(stage: str, when: dict[str, Any], **more: Any) -> Contraindication:
    return Contraindication.model_validate({**ORIGIN, "id": "planted", "stage": stage, "when": when, **more})


def interval(earlier: str, later: str, **more: Any) -> Interval:
    return Interval.model_validate({**ORIGIN, "id": "planted", "earlier": earlier, "later": later, **more})


def age_window(stage: str, **more: Any) -> AgeWindow:
    return AgeWindow.model_validate({**ORIGIN, "id": "planted", "stage": stage, **more})
