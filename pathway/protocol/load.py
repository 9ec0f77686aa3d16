"""Read the rule files from a folder into a `Protocol`. The only part of the protocol that touches files."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from importlib.resources.abc import Traversable
from typing import Any

import tomli
from pydantic import BaseModel, ValidationError

from pathway.plain_text import not_plain, visible
from pathway.problems import Problem, Refused
from pathway.protocol import model
from pathway.protocol.check import faults_of
from pathway.protocol.overlay import Entry, Overlay, laid_over
from pathway.protocol.validation import faults_of_validation
from pathway.shipped import RULES, shipped

KINDS: dict[str, tuple[str, type[BaseModel]]] = {
    "source": ("sources", model.Source),
    "finding": ("findings", model.FindingRule),
    "method": ("methods", model.Method),
    "skeletal_method": ("skeletal_methods", model.SkeletalMethod),
    "diagnosis": ("diagnoses", model.Diagnosis),
    "classification": ("classifications", model.Classification),
    "stage": ("stages", model.Stage),
    "indication": ("indications", model.Indication),
    "gate": ("gates", model.Gate),
    "contraindication": ("contraindications", model.Contraindication),
    "interval": ("intervals", model.Interval),
    "age_window": ("age_windows", model.AgeWindow),
    "amount_limit": ("amount_limits", model.AmountLimit),
    "device": ("devices", model.Device),
    "span": ("spans", model.SpanRule),
    "both_sided": ("both_sided", model.BothSided),
    "value": ("values", model.Value),
    "caution": ("cautions", model.Caution),
    "stop_rule": ("stop_rules", model.StopRule),
    "goal": ("goals", model.Goal),
    "follow_up": ("follow_ups", model.FollowUp),
    "accompanying": ("accompanying", model.Accompanying),
    "printed_programme": ("printed_programmes", model.PrintedProgramme),
    "companion": ("companions", model.Companion),
    "implant": ("implants", model.Implant),
    "preference_set": ("preference_sets", model.PreferenceSet),
    "disagreement": ("disagreements", model.Disagreement),
    "evidence": ("evidence", model.Evidence),
    "harm": ("harms", model.Harm),
    "stage_harm": ("stage_harms", model.StageHarm),
    "calendar": ("calendars", model.ClinicCalendar),
}
CARD = ("name", "version", "changed", "growth_curve", "complications")
OVERLAY_CARD = ("name", "version")
WORDING = "wording"
"""The folder with the words of the documents: no rules."""


def load_protocol(overlay: Traversable | None = None) -> model.Protocol:
    """Return the protocol that ships with the program, with a clinic's folder laid over it where one is given.

    Raises Refused naming file and rule id.
    """
    return _shipped() if overlay is None else with_overlay(_shipped(), read_overlay(overlay))


def with_overlay(protocol: model.Protocol, overlay: Overlay) -> model.Protocol:
    """Return the protocol with an overlay laid over it; raises Refused with every fault of the overlay."""
    merged = laid_over(protocol, overlay)
    if isinstance(merged, tuple):
        raise Refused(*merged)
    return merged


def read_overlay(folder: Traversable) -> Overlay:
    """Return a clinic's folder of `*.toml`, also in folders, as entries; its name and version in any file.

    Raises Refused for no such folder, no rule in it, unreadable TOML, unknown kinds, entries without id
    and ids given twice.
    """
    faults: list[Problem] = []
    card: dict[str, str] = {}
    entries: dict[tuple[str, str], Entry] = {}
    for name, file in _toml_files(folder) if folder.is_dir() else []:
        for key, value in (_content(name, file, faults) or {}).items():
            if key in OVERLAY_CARD and isinstance(value, str):
                card[key] = value
                continue
            kind = KINDS.get(key)
            if kind is None:
                known = ", ".join(sorted([*KINDS, *OVERLAY_CARD]))
                faults.append(Problem(name, key, None, f"the kind {key!r}", f"one of {known}", "rename it"))
                continue
            for item in value if isinstance(value, list) else [value]:
                _overlay_entry(kind[0], item, name, entries, faults)
    if not entries and not faults:
        found = "no rule in it" if folder.is_dir() else "no such folder"
        faults.append(
            Problem(str(folder), "", None, found, "a folder of TOML files with rules", "name the clinic's folder")
        )
    if faults:
        raise Refused(*faults)
    return Overlay(card.get("name", ""), card.get("version", ""), tuple(entries.values()))


def _overlay_entry(
    kind: str, item: Any, file: str, entries: dict[tuple[str, str], Entry], faults: list[Problem]
) -> None:
    if not isinstance(item, dict) or not isinstance(item.get("id"), str):
        faults.append(Problem(file, f"rule of {kind}", None, repr(item)[:80], "a table with an id", "give it its id"))
        return
    name = item["id"]
    for place, found in not_plain(item):
        faults.append(Problem(file, f"rule {visible(name)}", None, found, f"plain text in `{place}`", "correct it"))
    if (kind, name) in entries:
        where = f"{entries[kind, name].file} and {file}"
        faults.append(Problem(where, f"rule {name}", None, "the id 2 times", "an id that is used once", "join the two"))
        return
    entries[kind, name] = Entry(kind, name, item, file)


@lru_cache(maxsize=1)
def _shipped() -> model.Protocol:
    return read_protocol(shipped(RULES))


def read_protocol(folder: Traversable) -> model.Protocol:
    """Return the protocol kept in `folder` and the folders in it (`*.toml`).

    Raises Refused with every fault of every file: unreadable TOML, unknown kinds or fields, wrong
    types, and what `check.faults_of` finds across files.
    """
    faults: list[Problem] = []
    parts: dict[str, Any] = {plural: [] for plural, _ in KINDS.values()}
    parts["tables"] = []
    files: dict[str, str] = {}
    for name, file in _toml_files(folder):
        _read_file(name, file, parts, faults, files)
    if faults:
        raise Refused(*faults)
    try:
        protocol = model.Protocol(**parts)
    except ValidationError as error:
        raise Refused(*faults_of_validation(error, "protocol.toml", "")) from error
    if found := faults_of(protocol, files):
        raise Refused(*found)
    return protocol


def _toml_files(folder: Traversable, path: str = "") -> list[tuple[str, Traversable]]:
    """Return the rule files of a folder and of those in it, with the names that faults are told by.

    In the order of the files' own names, whatever folder they lie in: sorting rules into folders changes no plan.
    """
    files: list[tuple[str, Traversable]] = []
    for entry in folder.iterdir():
        if entry.is_dir():
            if not entry.name.startswith((".", "__")) and entry.name != WORDING:
                files += _toml_files(entry, f"{path}{entry.name}/")
        elif entry.name.endswith(".toml"):
            files.append((f"{path}{entry.name}", entry))
    return sorted(files, key=lambda item: (item[1].name, item[0]))


def _read_file(
    name: str, file: Traversable, parts: dict[str, Any], faults: list[Problem], files: dict[str, str]
) -> None:
    content = _content(name, file, faults)
    if content is None:
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
            faults.append(Problem(name, key, None, f"the kind {key!r}", f"one of {known}", "rename it"))


def _content(name: str, file: Traversable, faults: list[Problem]) -> dict[str, Any] | None:
    try:
        return tomli.loads(file.read_text(encoding="utf-8"))
    except Refused as error:
        faults.extend(replace(problem, place=name) for problem in error.problems)
    except RecursionError:
        faults.append(Problem(name, "", None, "brackets nested too deep", "a TOML file", "correct it"))
    except ValueError as error:  # no TOML, no UTF-8, a number of thousands of digits
        faults.append(Problem(name, "", None, f"text that is not TOML ({error})", "a TOML file", "correct it"))
    except OSError as error:
        faults.append(
            Problem(name, "", None, f"a file that cannot be read ({error.strerror})", "a TOML file", "check it")
        )
    return None


def _remember(entry: Any, file: str, files: dict[str, str]) -> None:
    """Note in which file an id stands; an id in two files is placed in both."""
    if not isinstance(entry, dict):
        return
    types = entry.get("types")
    for item in (entry, *(kind for kind in (types if isinstance(types, list) else ()) if isinstance(kind, dict))):
        name = str(item.get("id"))
        files[name] = file if files.get(name, file) == file else f"{files[name]} and {file}"


def _take(shape: type[BaseModel], entry: Any, into: list[Any], file: str, faults: list[Problem]) -> None:
    try:
        into.append(shape.model_validate(entry))
    except ValidationError as error:
        name = str(entry.get("id", "rule without id")) if isinstance(entry, dict) else "not a table"
        faults.extend(faults_of_validation(error, file, name))
