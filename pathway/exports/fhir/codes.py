"""The codes that the record exchange uses, each only where its meaning is certain; all else is text and our own id.

How each was verified stands in DEVELOPERS.md. Our own ids live under `HOME` and say so by their system.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pathway.exports.names import HOME
from pathway.protocol.units import UNITS

LOINC, SNOMED, UCUM = "http://loinc.org", "http://snomed.info/sct", "http://unitsofmeasure.org"
TERMINOLOGY = "http://terminology.hl7.org/CodeSystem"
FINDINGS = f"{HOME}/codes/finding"
METHODS = f"{HOME}/codes/method"
DIAGNOSES = f"{HOME}/codes/diagnosis"
STAGES = f"{HOME}/codes/stage"
CHOICES = f"{HOME}/codes/choice"
SITES = f"{HOME}/codes/site"
PSEUDONYMS = f"{HOME}/pseudonym"

Json = dict[str, Any]

PLAN_NOTE = (LOINC, "18776-5", "Plan of care note")
RESULTS = (LOINC, "30954-2", "Relevant diagnostic tests/laboratory data note")
PROBLEMS = (LOINC, "11450-4", "Problem list - Reported")
GOALS = (LOINC, "61146-7", "Goals")
HEIGHT = (LOINC, "8302-2", "Body height")
PSEUDONYMOUS = (f"{TERMINOLOGY}/v3-ObservationValue", "PSEUDED", "pseudonymized")
TEST_DATA = (f"{TERMINOLOGY}/v3-ActReason", "HTEST", "test health data")

BONES: Mapping[str, tuple[str, str]] = {
    "femur_length_mm": ("71341001", "femur"),
    "tibia_length_mm": ("12611008", "tibia"),
}
"""The bone that a length belongs to: its SNOMED CT concept (bone structure of …) and its name."""

LATERALITY: Mapping[str, str] = {"left": "7771000", "right": "24028007"}
"""SNOMED CT values of the attribute laterality (272741003)."""

LENGTHS: Mapping[str, str] = {
    "femur_length_mm": "length of the femur",
    "tibia_length_mm": "length of the tibia",
    "leg_length_discrepancy_mm": "difference in leg length",
}
"""The findings that are read back from another program's document."""

IN_MM: Mapping[str, int] = {"mm": 1, "cm": 10, "m": 1000}
"""Millimetres in the UCUM units that a length may be read in."""

ABSENT: Mapping[str, tuple[str, str]] = {
    "never_measured": ("not-performed", "Not Performed"),
    "out_of_date": ("temp-unknown", "Temporarily Unknown"),
    "not_measurable": ("unknown", "Unknown"),
    "declined": ("asked-declined", "Asked But Declined"),
}
"""Why a value is absent, in the words of the standard's code system data-absent-reason."""

ABSENT_SYSTEM = f"{TERMINOLOGY}/data-absent-reason"


def coding(system: str, code: str, display: str = "") -> Json:
    """Return a coding."""
    return {"system": system, "code": code, **({"display": display} if display else {})}


def concept(text: str, *codings: Json) -> Json:
    """Return a concept: its codings, and the text that holds whatever a reader makes of them."""
    return {**({"coding": list(codings)} if codings else {}), "text": text}


def quantity(value: float, unit: str) -> Json:
    """Return a value in one of our units (`mm`, `deg`, `years`, …) with its UCUM code."""
    meant = UNITS[unit]
    return {"value": value, **({"unit": meant.shown} if meant.shown else {}), "system": UCUM, "code": meant.code}


def site(finding: str, side: str) -> Json:
    """Return the place of a finding: our own id of leg or bone with its side, and SNOMED CT where it is a bone."""
    code, name = BONES.get(finding, ("", "leg"))
    codings = [coding(SITES, f"{side}-{name}")]
    if code:
        # The form that the standard's own example of a bone density takes: the bone, refined by its side.
        codings.insert(0, coding(SNOMED, f"{code}:272741003={LATERALITY[side]}"))
    return concept(f"{side} {name}", *codings)
