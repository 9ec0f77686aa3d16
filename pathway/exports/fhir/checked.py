"""The last step before a document leaves: the standard's models read it (extra `fhir`), our walk follows it."""

from __future__ import annotations

from fhir.resources.R4B.bundle import Bundle

from pathway.exports.fhir.bundle import loose_ends
from pathway.exports.fhir.codes import Json
from pathway.problems import CannotBeDone, cannot


def checked(bundle: Json) -> str:
    """Return the bundle as JSON on one line, as the models of FHIR R4B write it; raises CannotBeDone."""
    faults = loose_ends(bundle)
    if faults:
        raise _not_sound("; ".join(faults))
    try:
        return str(Bundle.model_validate(bundle).model_dump_json())
    except ValueError as error:
        raise _not_sound(str(error)) from error


def _not_sound(why: str) -> CannotBeDone:
    return cannot("", f"internal error, no document is written: {why}", "please report it")
