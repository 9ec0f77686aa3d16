"""Leg lengths of another program's bundle (FHIR R4) as visits: what cannot be used is said, nothing is guessed."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from pathway.days import as_day
from pathway.exports.fhir.codes import (
    ABSENT,
    BONES,
    FINDINGS,
    IN_MM,
    LATERALITY,
    LENGTHS,
    METHODS,
    PSEUDONYMS,
    SITES,
    SNOMED,
    UCUM,
)
from pathway.problems import Problem, Refused, refused
from pathway.record import LAST_YEAR, Measurement, Missing, Side, Visit, WhyMissing

TAKEN = ("final", "amended", "corrected")
LEFT_OUT = ("entered-in-error", "cancelled")
_SIDES: Mapping[str, Side] = {"left": "left", "right": "right"}
_WHY: Mapping[str, WhyMissing] = {
    ABSENT["never_measured"][0]: "never_measured",
    ABSENT["declined"][0]: "declined",
}
_NO_LENGTH_MM = 1e12
"""From here on it is no length, whatever it is; larger whole numbers cannot even be reckoned with."""
NOT_MEASURABLE = "not measurable"


@dataclass(frozen=True, slots=True)
class _Read:
    day: datetime.date
    item: Measurement | Missing


@dataclass(frozen=True, slots=True)
class Reading:
    """What a bundle says of the lengths of one child: visits in date order (mm), every fault, and what was left out.

    `left_out` says in words what was passed over because it is no length, or was withdrawn.
    """

    visits: tuple[Visit, ...]
    faults: tuple[Problem, ...]
    left_out: tuple[str, ...]


def read_lengths(
    bundle: object,
    name: str = "bundle",
    methods: Collection[str] = (),
    unsaid_method: str = "",
    child: str | None = None,
) -> Reading:
    """Return the leg lengths of a bundle; those that cannot be used are faults, and the others are visits.

    Taken are Observations of the length of femur or tibia and of the difference in leg length that are final (or
    corrected): by our own finding id, or where the code's text is the finding's name; the side is that of bodySite,
    as our id, SNOMED CT or text. The value is a quantity in mm, cm or m (UCUM), or absent with a reason. All else
    is passed over. `name` is what the faults call the bundle; `methods` are the ways of measuring that are known,
    any where empty; `unsaid_method` is taken for a length that names none of ours. `child` is the pseudonym of the
    child whose lengths are wanted: those of another child are faults. Without it a bundle about more than one child
    is a fault. So is a bundle without any length.
    """
    if not isinstance(bundle, Mapping) or bundle.get("resourceType") != "Bundle":
        wrong = Problem(name, "resourceType", None, _kind(bundle), "a Bundle of FHIR R4", "export a bundle")
        return Reading((), (wrong,), ())
    found: list[tuple[str, _Read]] = []
    faults: list[Problem] = []
    subjects: dict[str, None] = {}
    patients = _patients(bundle)
    other = withdrawn = asked = 0
    for place, resource in _observations(bundle):
        finding = _finding(resource)
        if finding is None:
            other += 1
        elif resource.get("status") in LEFT_OUT:
            withdrawn += 1
        elif resource.get("status") == "registered" and "dataAbsentReason" in resource:
            asked += 1
        else:
            reference = str(_at(resource, "subject", "reference"))
            subject = patients.get(reference, reference)
            subjects[subject] = None
            try:
                found.append((subject, _read(resource, finding, methods, unsaid_method)))
            except Refused as error:
                faults += [replace(one, place=name, key=f"{place}.{one.place}") for one in error.problems]
    strangers = _strangers(subjects, set(patients.values()), child)
    if len(subjects) > 1 and (child is None or len(strangers) == len(subjects)):
        seen = f"lengths of {len(subjects)} children"
        faults.append(Problem(name, "subject", None, seen, "those of one child", "export one child at a time"))
    elif strangers:
        seen, do = (
            f"lengths of another child ({', '.join(map(repr, strangers))})",
            "import them with a bundle of that child",
        )
        faults.append(Problem(name, "subject", None, seen, f"those of {child}", do))
    own = [read for subject, read in found if subject not in strangers]
    twice = {key for key, count in Counter(_key(read) for read in own).items() if count > 1}
    faults += _twice(twice, name)
    own = [read for read in own if _key(read) not in twice]
    if not subjects:
        expected = "Observations of femur or tibia length, or of the difference in leg length"
        faults.append(Problem(name, "entry", None, "no leg length", expected, "see README for the codes that are read"))
    return Reading(_visits(own), tuple(faults), tuple(_left_out(bundle, other, withdrawn, asked)))


def pseudonym_of(bundle: object) -> str | None:
    """Return the pseudonym of the only child of a bundle of ours; None where there is none or more than one."""
    names = {
        str(mark.get("value"))
        for resource in _resources(bundle)
        if resource.get("resourceType") == "Patient"
        for mark in _list(resource.get("identifier"))
        if mark.get("system") == PSEUDONYMS
    }
    return names.pop() if len(names) == 1 else None


def _patients(bundle: Mapping[str, Any]) -> dict[str, str]:
    """Return for each way to refer to a patient of the bundle its pseudonym, else one way to refer to it."""
    found = {}
    for entry in _list(bundle.get("entry")):
        patient = entry.get("resource")
        if not isinstance(patient, Mapping) or patient.get("resourceType") != "Patient":
            continue
        address, own = entry.get("fullUrl"), patient.get("id")
        ways = [str(address)] if address else []
        ways += [f"Patient/{own}"] if own else []
        marks = [str(m.get("value")) for m in _list(patient.get("identifier")) if m.get("system") == PSEUDONYMS]
        for way in ways:
            found[way] = marks[0] if marks else ways[0]
    return found


def _strangers(subjects: Collection[str], patients: Collection[str], child: str | None) -> tuple[str, ...]:
    """Return the subjects that are not the wanted child; one whose pseudonym is not told may be it, being alone."""
    if child is None or child in subjects:
        return tuple(one for one in subjects if child is not None and one != child)
    alone = len(subjects) == 1 and not any(one in subjects and not _is_address(one) for one in patients)
    return () if alone else tuple(subjects)


def _is_address(subject: str) -> bool:
    return "/" in subject or ":" in subject


def _left_out(bundle: Mapping[str, Any], other: int, withdrawn: int, asked: int) -> Iterator[str]:
    entries = bundle.get("entry")
    named = sum("resourceType" in resource for resource in _resources(bundle))
    empty = len(entries) - named if isinstance(entries, list) else 0
    for count, what in (
        (other, "of findings other than leg lengths"),
        (withdrawn, "withdrawn at their source"),
        (asked, "requested but not made yet"),
    ):
        if count:
            yield f"{count} {'Observation' if count == 1 else 'Observations'} skipped: {what}"
    if empty:
        yield f"{empty} {'entry' if empty == 1 else 'entries'} skipped: no resource in them"


def _resources(bundle: object) -> Iterator[Mapping[str, Any]]:
    entries = bundle.get("entry") if isinstance(bundle, Mapping) else None
    for entry in _list(entries):
        resource = entry.get("resource")
        yield resource if isinstance(resource, Mapping) else {}


def _observations(bundle: Mapping[str, Any]) -> Iterator[tuple[str, Mapping[str, Any]]]:
    for number, resource in enumerate(_resources(bundle)):
        if resource.get("resourceType") == "Observation":
            yield f"entry[{number}]", resource


def _read(resource: Mapping[str, Any], finding: str, methods: Collection[str], unsaid: str) -> _Read:
    status = resource.get("status")
    if status not in TAKEN:
        raise refused("status", f"{status!r}", f"one of {', '.join(TAKEN)}", "send it once it is final")
    day, side = _day(resource.get("effectiveDateTime")), _side(resource, finding)
    if "dataAbsentReason" in resource:
        return _Read(day, Missing(finding=finding, side=side, why=_why(resource["dataAbsentReason"])))
    method = _method(resource, methods, unsaid)
    value = _millimetres(resource.get("valueQuantity"), finding)
    return _Read(day, Measurement(finding=finding, side=side, value=value, method=method))


def _why(reason: object) -> WhyMissing:
    if _at(reason, "text") == NOT_MEASURABLE:
        return "not_measurable"
    codes = [str(item.get("code")) for item in _codings(reason)]
    for code in codes:
        if code in _WHY:
            return _WHY[code]
    expected = f"{' or '.join(_WHY)}, or the text {NOT_MEASURABLE!r}"
    raise refused("dataAbsentReason", ", ".join(codes) or "no code", expected, "say why there is no value")


def _finding(resource: Mapping[str, Any]) -> str | None:
    """Return which of the lengths it is: by our id, or by the name of the finding in words; None for another."""
    code = resource.get("code")
    own = [item.get("code") for item in _codings(code) if item.get("system") == FINDINGS]
    if own:
        return own[0] if own[0] in LENGTHS else None
    text = code.get("text") if isinstance(code, Mapping) else None
    words = str(text or "").strip().lower()
    return next((id for id, label in LENGTHS.items() if words in (label, label.removeprefix("length of the "))), None)


def _side(resource: Mapping[str, Any], finding: str) -> Side:
    site = resource.get("bodySite")
    for item in _codings(site):
        code = str(item.get("code"))
        if item.get("system") == SITES and code.split("-")[0] in _SIDES:
            return _SIDES[code.split("-")[0]]
        if item.get("system") == SNOMED:
            for side, laterality in LATERALITY.items():
                bone = BONES.get(finding, ("", ""))[0]
                if bone and code.replace(" ", "") == f"{bone}:272741003={laterality}":
                    return _SIDES[side]
    text = str(site.get("text") or "").lower().split() if isinstance(site, Mapping) else []
    named = [side for side in _SIDES if side in text]
    if len(named) == 1:
        return _SIDES[named[0]]
    seen = " ".join(text) or "no side"
    raise refused("bodySite", repr(seen), "left or right", "name the side in bodySite, as text or by its code")


def _day(value: object) -> datetime.date:
    text = str(value or "")
    day, _, rest = text.partition("T")
    try:
        if len(day) != 10 or (rest and not rest[0].isdigit()):
            raise ValueError
        found = datetime.date.fromisoformat(day)
        if rest:
            datetime.datetime.fromisoformat(text)
        if not 1900 < found.year <= LAST_YEAR:
            raise ValueError
    except ValueError:
        seen = repr(text) if text else "no day"
        raise refused(
            "effectiveDateTime", seen, "a full date (YYYY-MM-DD)", "say on which day it was measured"
        ) from None
    return as_day(found)


def _millimetres(value: object, finding: str) -> float:
    if not isinstance(value, Mapping):
        raise refused(
            "valueQuantity", "no quantity", "a length in mm, cm or m", "give valueQuantity or dataAbsentReason"
        )
    number, unit = value.get("value"), value.get("code") if value.get("system") == UCUM else value.get("unit")
    if "comparator" in value:
        raise refused(
            "valueQuantity", f"the comparator {value['comparator']!r}", "a plain number", "give the value itself"
        )
    if str(unit) not in IN_MM:
        raise refused("valueQuantity", f"the unit {unit!r}", "mm, cm or m (UCUM)", "give the length in one of them")
    if isinstance(number, bool) or not isinstance(number, int | float) or not abs(number) < _NO_LENGTH_MM:
        raise refused("valueQuantity", f"{number!r:.40}", "a number", "correct it")
    if number <= 0 and finding in BONES:
        raise refused("valueQuantity", f"{number:g}", "a length above 0", "correct it")
    return round(float(number) * IN_MM[str(unit)], 6)


def _method(resource: Mapping[str, Any], methods: Collection[str], unsaid: str) -> str:
    codes = [str(item.get("code")) for item in _codings(resource.get("method")) if item.get("system") == METHODS]
    wanted = f"one of {', '.join(sorted(methods))}" if methods else "the id of a measurement method"
    if not codes and unsaid:
        return unsaid
    if not codes:
        raise refused("method", "no method known here", wanted, f"add a coding of the system {METHODS}")
    if methods and codes[0] not in methods:
        raise refused("method", repr(codes[0]), wanted, "name how it was measured")
    return codes[0]


def _key(read: _Read) -> tuple[datetime.date, str, str]:
    return read.day, read.item.finding, read.item.side or ""


def _twice(keys: Collection[tuple[datetime.date, str, str]], name: str) -> Iterator[Problem]:
    for day, finding, side in sorted(keys):
        told = f"a second {LENGTHS[finding]}, {side}, on {day}"
        yield Problem(name, "entry", None, told, "one value per day", "leave one of them out")


def _visits(found: list[_Read]) -> tuple[Visit, ...]:
    visits = []
    for day in sorted({read.day for read in found}):
        items = [read.item for read in found if read.day == day]
        measured = tuple(item for item in items if isinstance(item, Measurement))
        missing = tuple(item for item in items if isinstance(item, Missing))
        method = measured[0].method if measured else ""
        visits.append(Visit(date=as_day(day), method=method, measurements=measured, missing=missing))
    return tuple(visits)


def _codings(concept: object) -> list[Mapping[str, Any]]:
    return _list(concept.get("coding")) if isinstance(concept, Mapping) else []


def _list(value: object) -> list[Mapping[str, Any]]:
    return [item for item in value if isinstance(item, Mapping)] if isinstance(value, list) else []


def _at(node: object, *keys: str) -> object:
    for key in keys:
        node = node.get(key) if isinstance(node, Mapping) else None
    return node


def _kind(bundle: object) -> str:
    kind = bundle.get("resourceType") if isinstance(bundle, Mapping) else None
    return repr(kind) if kind else "no resource"
