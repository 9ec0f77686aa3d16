"""A clinic's rules laid over ours, rule by rule. Pure: `load.read_overlay` reads the folder.

An entry with the id of one of ours replaces it field by field in what it gives (a condition or a list is
replaced whole; the types of a classification are laid over one by one in the same way); a changed value needs
sources of its own, and what ours say of theirs (strength, note, how indirect) then falls away. A new id adds. `off =
true` with `because` takes the rule out. A field is never taken away: switch the rule off and add one instead.
What was changed or added is marked `local`; what was switched off is listed in `Protocol.switched_off`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from pydantic import BaseModel, ValidationError

from pathway.problems import Problem
from pathway.protocol.check import faults_of
from pathway.protocol.model import Protocol, Sourced, SwitchedOff, Type
from pathway.protocol.references import entries, kinds, users
from pathway.protocol.roles import EVERY_PLAN
from pathway.protocol.validation import faults_of_validation

WORDING = frozenset(
    {"id", "because", "label", "note", "what", "family_words", "how", "gap", "local", "types", "indirect", "phone"}
) | {
    "sources",
    "provenance",
    "strength",
}
"""Fields that may be changed without naming sources of one's own."""
SWITCHABLE = frozenset({"types", "stages", "classifications", "indications", "gates", "contraindications"}) | {
    "intervals",
    "age_windows",
    "amount_limits",
    "devices",
    "spans",
    "both_sided",
    "cautions",
    "stop_rules",
    "goals",
    "follow_ups",
    "accompanying",
    "printed_programmes",
    "companions",
    "implants",
    "disagreements",
    "harms",
    "stage_harms",
}
"""Kinds that nothing but other rules may need; the planner itself asks for values, findings and the like."""
What = Literal["changed", "added", "switched off"]


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of a clinic's file: the part of the protocol it belongs to, its id, its fields as written."""

    kind: str
    id: str
    fields: Mapping[str, Any]
    file: str

    @property
    def off(self) -> bool:
        """Return whether the entry switches a rule of ours off."""
        return self.fields.get("off") is True

    @property
    def because(self) -> str:
        """Return the clinic's reason, or ""."""
        return str(self.fields.get("because", ""))


@dataclass(frozen=True, slots=True)
class Overlay:
    """A clinic's folder as read: its own name and version, its entries in the order of files and lines."""

    name: str
    version: str
    entries: tuple[Entry, ...]


@dataclass(frozen=True, slots=True)
class FieldChange:
    """One field as it stands with us (None: not there) and as the clinic has it."""

    name: str
    ours: Any
    theirs: Any


@dataclass(frozen=True, slots=True)
class Difference:
    """One rule that the clinic changed, added or switched off; `ours` and `theirs` are the entries, or None."""

    what: What
    kind: str
    id: str
    file: str
    because: str
    ours: Any
    theirs: Any
    fields: tuple[FieldChange, ...] = ()


def laid_over(protocol: Protocol, overlay: Overlay) -> Protocol | tuple[Problem, ...]:
    """Return the protocol with the clinic's entries laid over it, or every fault with its file and rule id."""
    faults: list[Problem] = []
    parts: dict[str, list[Any]] = {kind: list(getattr(protocol, kind)) for kind in kinds()}
    gone: list[SwitchedOff] = []
    for entry in overlay.entries:
        faults += _lay(entry, parts[entry.kind], kinds()[entry.kind], gone)
    if faults:
        return tuple(faults)
    _forget(parts, gone)
    merged = protocol.with_parts(
        **{kind: tuple(items) for kind, items in parts.items()},
        name=f"{protocol.name} with {overlay.name}" if overlay.name else protocol.name,
        version=f"{protocol.version}+{overlay.version or 'local'}",
        switched_off=(*protocol.switched_off, *gone),
    )
    files = {entry.id: entry.file for entry in _with_types(overlay)}
    needed = (*_still_needed(merged, gone, files), *_left_without_end(protocol, merged, files))
    return needed or faults_of(merged, files) or merged


def differences(ours: Protocol, theirs: Protocol, overlay: Overlay) -> tuple[Difference, ...]:
    """Return what the overlay changes, adds and switches off, in the order of its files."""
    before = {(kind, entry.id): entry for kind, entry in entries(ours)}
    after = {(kind, entry.id): entry for kind, entry in entries(theirs)}
    found = []
    for entry in _with_types(overlay):
        old, new = before.get((entry.kind, entry.id)), after.get((entry.kind, entry.id))
        what: What = "switched off" if new is None else "added" if old is None else "changed"
        changes = tuple(_changes(old, new)) if new is not None else ()
        if changes or new is None:
            found.append(Difference(what, entry.kind, entry.id, entry.file, entry.because, old, new, changes))
    return tuple(found)


def _changes(old: Any, new: Any) -> Iterator[FieldChange]:
    for name in type(new).model_fields:
        ours, theirs = getattr(old, name, None), getattr(new, name)
        given = old is not None or name in new.model_fields_set
        if name not in ("id", "local", "types") and given and ours != theirs:
            yield FieldChange(name, ours, theirs)


def _with_types(overlay: Overlay) -> Iterator[Entry]:
    for entry in overlay.entries:
        yield entry
        types = entry.fields.get("types")
        for type_ in types if isinstance(types, list) else ():
            if isinstance(type_, dict):
                yield Entry("types", str(type_.get("id")), type_, entry.file)


def _lay(entry: Entry, into: list[Any], shape: type[BaseModel], gone: list[SwitchedOff]) -> list[Problem]:
    """Lay one entry over a part of the protocol, in place; return what is wrong with it."""
    at = next((k for k, item in enumerate(into) if item.id == entry.id), None)
    if "off" in entry.fields:
        return _switch_off(entry, at, into, gone)
    old = into[at] if at is not None else None
    given = {name: value for name, value in entry.fields.items() if name != "local"}
    if "because" not in shape.model_fields:
        given.pop("because", None)
    if old is not None and (fault := _unsourced(entry, given, shape)):
        return [fault]
    faults: list[Problem] = []
    if isinstance(given.get("types"), list) and "types" in shape.model_fields:
        given["types"], faults = _types(entry, given["types"], old, gone)
    base = {name: getattr(old, name) for name in old.model_fields_set} if old is not None else {}
    if "sources" in given:
        # How strong our sources are and what we noted on them says nothing of the clinic's.
        of_ours = ("strength", "note", "indirect", "evidence")
        base = {name: value for name, value in base.items() if name not in of_ours}
    mark = {"local": True} if "local" in shape.model_fields else {}
    try:
        made = shape.model_validate({**base, **given, **mark})
    except ValidationError as error:
        return [*faults, *faults_of_validation(error, entry.file, entry.id)]
    if at is None:
        into.append(made)
    else:
        into[at] = made
    return faults


def _types(entry: Entry, given: Sequence[Any], old: Any, gone: list[SwitchedOff]) -> tuple[list[Any], list[Problem]]:
    types, faults = list(old.types) if old is not None else [], []
    for item in given:
        if isinstance(item, dict):
            faults += _lay(Entry("types", str(item.get("id")), item, entry.file), types, Type, gone)
        else:
            faults.append(
                _fault(entry.file, entry.id, f"the type {item!r}", "a table", "write [[classification.types]]")
            )
    return types, faults


def _switch_off(entry: Entry, at: int | None, into: list[Any], gone: list[SwitchedOff]) -> list[Problem]:
    do = "leave it in, or change it instead"
    if entry.fields["off"] is not True:
        return [
            _fault(entry.file, entry.id, f"off = {entry.fields['off']!r}", "off = true", "write it so or leave it out")
        ]
    if at is None:
        return [_fault(entry.file, entry.id, "an id that our rules do not have", "the id of a rule", "correct the id")]
    if not entry.because.strip():
        return [_fault(entry.file, entry.id, "no reason", "`because` in words", "say why the rule is switched off")]
    if extra := sorted(set(entry.fields) - {"id", "off", "because"}):
        expected = "nothing but id, off and because"
        return [_fault(entry.file, entry.id, f"the fields {', '.join(extra)}", expected, "take them out")]
    if entry.kind not in SWITCHABLE or getattr(into[at], "role", None) in EVERY_PLAN:
        expected = "something that only other rules need"
        return [_fault(entry.file, entry.id, f"one of the {entry.kind} switched off", expected, do)]
    if getattr(into[at], "head", False):
        expected = "the sentence that heads every view"
        return [_fault(entry.file, entry.id, "it switched off", expected, "leave it in; its words may be changed")]
    del into[at]
    gone.append(SwitchedOff(id=entry.id, kind=entry.kind, because=entry.because))
    return []


def _forget(parts: dict[str, list[Any]], gone: list[SwitchedOff]) -> None:
    """Strike what was switched off from what only tells of it, in place.

    So from the disagreements, and from the programmes of print, which name devices of which each will do; a programme
    goes with the last device of a step.
    """
    off = {item.id for item in gone}
    programmes = []
    for printed in parts["printed_programmes"]:
        steps = [(step, tuple(id for id in step.devices if id not in off)) for step in printed.steps]
        bare = [step for step, devices in steps if step.devices and not devices]
        if bare:
            because = f"no device is left of those that it is done with: {', '.join(bare[0].devices)}"
            gone.append(SwitchedOff(id=printed.id, kind="printed_programmes", because=because))
        else:
            with_rest = tuple(step.model_copy(update={"devices": devices}) for step, devices in steps)
            programmes.append(printed.model_copy(update={"steps": with_rest}))
    parts["printed_programmes"] = programmes
    kept = []
    for dispute in parts["disagreements"]:
        rules = tuple(rule for rule in dispute.rules if rule not in off)
        if rules:
            kept.append(dispute.model_copy(update={"rules": rules}) if rules != dispute.rules else dispute)
    parts["disagreements"] = kept


def _unsourced(entry: Entry, given: Mapping[str, Any], shape: type[BaseModel]) -> Problem | None:
    """A changed value must not stand under our sources, as if they said so."""
    changed = sorted(set(given) - WORDING)
    if not issubclass(shape, Sourced) or not changed or {"sources", "provenance"} <= set(given):
        return None
    expected = "`sources` and `provenance` of your own beside it"
    do = "name where the value comes from: ours does not say it"
    return _fault(entry.file, entry.id, f"{', '.join(changed)} changed", expected, do)


def _still_needed(merged: Protocol, gone: Sequence[SwitchedOff], files: Mapping[str, str]) -> Iterator[Problem]:
    named = users(merged)
    here = {entry.id for _, entry in entries(merged)}
    for item in gone:
        needed = named.get(item.id, ())
        if item.id not in here and needed:
            found = f"{item.id} switched off, yet needed by {', '.join(needed)}"
            yield _fault(
                files.get(item.id, "rules"),
                item.id,
                found,
                "nothing that needs it",
                "switch those off too, or leave it in",
            )


def _left_without_end(ours: Protocol, merged: Protocol, files: Mapping[str, str]) -> Iterator[Problem]:
    """What starts where a lengthening ends (its device comes off, the hip is watched) goes only with it."""
    here = {entry.id for _, entry in entries(merged)}
    for rule in ours.intervals:
        first = ours.stage(rule.earlier_stage)
        tied = first.role == "lengthening" and rule.starts_at_end
        for name in (rule.id, rule.later_stage) if tied and first.id in here else ():
            if name not in here:
                found, expected = f"{name} switched off", f"it there as long as {first.id} is"
                yield _fault(
                    files.get(name, "rules"), name, found, expected, "leave it in: every lengthening has its end"
                )


def _fault(file: str, rule: str, found: str, expected: str, do: str) -> Problem:
    return Problem(file, f"rule {rule}", None, found, expected, do)
