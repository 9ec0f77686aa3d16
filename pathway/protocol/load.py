"""Read the rule files from a folder into a `Protocol`. The only part of the protocol that touches files."""

from __future__ import annotations

import tomllib
from functools import lru_cache
from importlib import resources
from importlib.resources.abc import Traversable
from typing import Any

from pydantic import BaseModel, ValidationError

from pathway.faults import Fault, sentences
from pathway.protocol import model
from pathway.protocol.check import faults_of

KINDS: dict[str, tuple[str, type[BaseModel]]] = {
    "source": ("sources", model.Source),
    "finding": ("findings", model.FindingRule),
    "method": ("methods", model.Method),
    "diagnosis": ("diagnoses", model.Diagnosis),
    "classification": ("classifications", model.Classification),
    "stage": ("stages", model.Stage),
    "indication": ("indications", model.Indication),
    "gate": ("gates", model.Gate),
    "contraindication": ("contraindications", model.Contraindication),
    "interval": ("intervals", model.Interval),
    "age_window": ("age_windows", model.AgeWindow),
    "amount_limit": ("amount_limits", model.AmountLimit),
    "value": ("values", model.Value),
    "caution": ("cautions", model.Caution),
    "stop_rule": ("stop_rules", model.StopRule),
    "goal": ("goals", model.Goal),
    "follow_up": ("follow_ups", model.FollowUp),
    "companion": ("companions", model.Companion),
    "disagreement": ("disagreements", model.Disagreement),
}
CARD = ("name", "version", "changed", "growth_curve", "complications")


class ProtocolError(Exception):
    """The rule files cannot be used; `faults` says what is wrong in each."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        self.faults = faults
        super().__init__(sentences(faults))


@lru_cache(maxsize=1)
def load_protocol() -> model.Protocol:
    """Return the protocol that ships with the program; raises ProtocolError naming file and rule id."""
    return read_protocol(resources.files("rules"))


def read_protocol(folder: Traversable) -> model.Protocol:
    """Return the protocol kept in `folder` (`*.toml`, growth tables in `growth/`).

    Raises ProtocolError with every fault of every file: unreadable TOML, unknown kinds or fields, wrong
    types, and what `check.faults_of` finds across files.
    """
    faults: list[Fault] = []
    parts: dict[str, Any] = {plural: [] for plural, _ in KINDS.values()}
    parts["tables"] = []
    files: dict[str, str] = {}
    for name, file in _toml_files(folder):
        _read_file(name, file, parts, faults, files)
    if faults:
        raise ProtocolError(tuple(faults))
    try:
        protocol = model.Protocol(**parts)
    except ValidationError as error:
        raise ProtocolError(tuple(_faults_of_validation(error, "protocol.toml", ""))) from error
    if found := faults_of(protocol, files):
        raise ProtocolError(found)
    return protocol


def _toml_files(folder: Traversable) -> list[tuple[str, Traversable]]:
    """Return the rule files with the names that faults are told by, in an order that never changes."""
    files = [(entry.name, entry) for entry in folder.iterdir() if entry.name.endswith(".toml")]
    growth = folder.joinpath("growth")
    if growth.is_dir():
        files += [(f"growth/{entry.name}", entry) for entry in growth.iterdir() if entry.name.endswith(".toml")]
    return sorted(files, key=lambda item: item[0])


def _read_file(name: str, file: Traversable, parts: dict[str, Any], faults: list[Fault], files: dict[str, str]) -> None:
    try:
        content = tomllib.loads(file.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        faults.append(Fault(name, "", None, f"text that is not TOML ({error})", "a TOML file", "correct it"))
        return
    if "columns" in content:
        content["id"] = file.name.removesuffix(".toml")
        _take(model.Table, content, parts["tables"], name, faults)
        return
    for key, value in content.items():
        if key in CARD:
            parts[key] = value
        elif key in KINDS:
            plural, shape = KINDS[key]
            for entry in value if isinstance(value, list) else [value]:
                _take(shape, entry, parts[plural], name, faults)
                _remember(entry, name, files)
        else:
            known = ", ".join(sorted([*KINDS, *CARD]))
            faults.append(Fault(name, key, None, f"the kind {key!r}", f"one of {known}", "rename it"))


def _remember(entry: Any, file: str, files: dict[str, str]) -> None:
    """Note in which file an id stands; an id in two files is placed in both."""
    if not isinstance(entry, dict):
        return
    types = entry.get("types")
    for item in (entry, *(kind for kind in (types if isinstance(types, list) else ()) if isinstance(kind, dict))):
        name = str(item.get("id"))
        files[name] = file if files.get(name, file) == file else f"{files[name]} and {file}"


def _take(shape: type[BaseModel], entry: Any, into: list[Any], file: str, faults: list[Fault]) -> None:
    try:
        into.append(shape.model_validate(entry))
    except ValidationError as error:
        name = str(entry.get("id", "rule without id")) if isinstance(entry, dict) else "not a table"
        faults.extend(_faults_of_validation(error, file, name))


def _faults_of_validation(error: ValidationError, file: str, rule: str) -> list[Fault]:
    faults = []
    for item in error.errors():
        field = ".".join(str(part) for part in item["loc"])
        key = f"rule {rule}, field {field}" if field else f"rule {rule}"
        found = "nothing" if item["type"] == "missing" else repr(item["input"])[:80]
        faults.append(Fault(file, key, None, found, item["msg"].removeprefix("Value error, "), "correct the rule"))
    return faults
