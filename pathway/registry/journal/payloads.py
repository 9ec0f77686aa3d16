"""What each kind of entry holds, made from values of the house and read back to them, old versions upgraded.

| kind | payload |
|---|---|
| `case` | `record`: a whole record; replaces what stood before it |
| `visit`, `operation`, `decision` | the one added, under its own name |
| `calendar` | `calendar`: the child's calendar from now on, or null |
| `correction` | `reason`, and the corrected content under the name of its kind, or `withdrawn` true |
| `revision` | `plan`, `on`, `protocol_version`, `recommended`, `reason`, `accepted`, `accepted_by`: a kept plan |
| `erasure` | `reason` |
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Literal, TypeVar

from pydantic import BaseModel, ValidationError

from pathway.days import Day
from pathway.record import CaseCalendar, Decision, Frozen, Operation, Record, Visit
from pathway.registry.journal.entry import NewEntry, Payload

Model = TypeVar("Model", bound=BaseModel)
PAYLOAD_VERSION = 1
"""The version of the payloads written now; raise it, with a step in `UPGRADES`, when an old payload reads no more."""

Upgrade = Callable[[dict[str, Any]], dict[str, Any]]
UPGRADES: Mapping[int, Upgrade] = {}
"""How a payload of a version becomes one of the next; for every version before `PAYLOAD_VERSION`."""

CONTENT: Mapping[str, type[BaseModel]] = {
    "record": Record,
    "visit": Visit,
    "operation": Operation,
    "decision": Decision,
    "calendar": CaseCalendar,
}
NAMES: Mapping[str, str] = {"case": "record", **{kind: kind for kind in CONTENT if kind != "record"}}
"""Under which name a kind of entry that makes up the record keeps its content."""

Content = Record | Visit | Operation | Decision | CaseCalendar


class Revision(Frozen):
    """A plan as it was kept: the whole plan as plain data, with its day and protocol, and why it was chosen.

    `accepted` says whether somebody accepted it, or whether it was only kept with what was saved; those kept before
    the two were told apart count as accepted. `accepted_by` is who did, "" where nobody said.
    """

    plan: dict[str, Any]
    on: Day
    protocol_version: str
    recommended: bool
    reason: str = ""
    accepted: bool = True
    accepted_by: Literal["", "family", "team"] = ""


class UnreadablePayload(ValueError):
    """A payload that this program cannot read; the text says why."""


def case_entry(record: Record, who: str) -> NewEntry:
    """Return the entry that takes in a whole record."""
    return NewEntry("case", {"record": _plain(record)}, who)


def visit_entry(visit: Visit, who: str) -> NewEntry:
    """Return the entry that adds a visit."""
    return NewEntry("visit", {"visit": _plain(visit)}, who)


def operation_entry(operation: Operation, who: str) -> NewEntry:
    """Return the entry that adds an operation."""
    return NewEntry("operation", {"operation": _plain(operation)}, who)


def decision_entry(decision: Decision, who: str) -> NewEntry:
    """Return the entry that adds a decision or wish."""
    return NewEntry("decision", {"decision": _plain(decision)}, who)


def calendar_entry(calendar: CaseCalendar | None, who: str) -> NewEntry:
    """Return the entry that sets the child's own calendar, or takes it away (None)."""
    return NewEntry("calendar", {"calendar": None if calendar is None else _plain(calendar)}, who)


def correction_entry(supersedes: int, content: Content, reason: str, who: str) -> NewEntry:
    """Return the entry that replaces what entry `supersedes` holds by `content`, of the same kind."""
    (name,) = (name for name, model in CONTENT.items() if isinstance(content, model))
    return NewEntry("correction", {"reason": reason, name: _plain(content)}, who, supersedes)


def withdrawal_entry(supersedes: int, reason: str, who: str) -> NewEntry:
    """Return the entry that takes back what entry `supersedes` holds."""
    return NewEntry("correction", {"reason": reason, "withdrawn": True}, who, supersedes)


def revision_entry(revision: Revision, who: str) -> NewEntry:
    """Return the entry that keeps an accepted plan."""
    return NewEntry("revision", _plain(revision), who)


def erasure_entry(reason: str, who: str) -> NewEntry:
    """Return the entry that says that the payloads before it were erased; only `Registry.erase` appends it."""
    return NewEntry("erasure", {"reason": reason}, who)


def upgraded(
    payload: Payload, version: int, steps: Mapping[int, Upgrade] = UPGRADES, now: int = PAYLOAD_VERSION
) -> Payload:
    """Return a payload of any earlier version as one of version `now`; the kept one is not touched.

    Raises `UnreadablePayload` for a version that this program does not know.
    """
    if not 1 <= version <= now:
        raise UnreadablePayload(f"payload version {version}, this program reads 1 to {now}; use a newer program")
    data = dict(payload)
    for step in range(version, now):
        data = steps[step](data)
    return data


def content_of(payload: Payload, name: str, version: int) -> Content | None:
    """Return the content kept under `name`, None for a calendar taken away. Raises `UnreadablePayload`."""
    data = upgraded(payload, version)
    if name not in data:
        raise UnreadablePayload(f"no `{name}` in the payload")
    if name == "calendar" and data[name] is None:
        return None
    return _read(CONTENT[name], data[name])  # type: ignore[return-value]


def revision_of(payload: Payload, version: int) -> Revision:
    """Return the accepted plan that a payload holds. Raises `UnreadablePayload`."""
    return _read(Revision, upgraded(payload, version))


def check_new(entry: NewEntry) -> None:
    """Raise `UnreadablePayload` when an entry could not be read back, or names nobody who made it."""
    if not entry.who.strip() or len(entry.who) > 80 or not entry.who.isprintable():
        raise UnreadablePayload(f"{entry.who!r} for who made it, expected a name of 1 to 80 characters")
    if (entry.kind == "correction") is (entry.supersedes is None):
        raise UnreadablePayload("a correction must name the entry that it supersedes, and nothing else may")
    payload = entry.payload
    if entry.kind in NAMES:
        content_of(payload, NAMES[entry.kind], PAYLOAD_VERSION)
        allowed = {NAMES[entry.kind]}
    elif entry.kind == "revision":
        revision_of(payload, PAYLOAD_VERSION)
        return
    else:
        allowed = {"reason"}
        if not str(payload.get("reason", "")).strip():
            raise UnreadablePayload(f"no reason, expected why the {entry.kind} was made")
        if entry.kind == "correction":
            name = corrected(payload, PAYLOAD_VERSION)
            allowed.add(name or "withdrawn")
            if name is not None:
                content_of(payload, name, PAYLOAD_VERSION)
    if extra := set(payload) - allowed:
        raise UnreadablePayload(f"{', '.join(sorted(extra))}, which a {entry.kind} does not hold")


def corrected(payload: Payload, version: int) -> str | None:
    """Return under which name a correction holds its content, None where it withdraws. Raises `UnreadablePayload`."""
    data = upgraded(payload, version)
    if data.get("withdrawn") is True:
        return None
    names = [name for name in CONTENT if name in data]
    if len(names) != 1:
        raise UnreadablePayload(f"{len(names)} contents in a correction, expected one")
    return names[0]


def _plain(value: BaseModel) -> dict[str, Any]:
    return value.model_dump(mode="json", by_alias=True)


def _read(model: type[Model], data: object) -> Model:
    try:
        return model.model_validate(data)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        place = ".".join(str(part) for part in first["loc"])
        raise UnreadablePayload(f"{place or model.__name__}: {first['msg']}") from error
