"""The last step before a document leaves: the standard's models read it (extra `fhir`), our walk follows it."""

from __future__ import annotations

from fhir.resources.R4B.bundle import Bundle

from pathway.exports.fhir.bundle import loose_ends
from pathway.exports.fhir.codes import Json


class NotSound(Exception):
    """A document of ours that is not sound: a fault of the program, in words."""


def checked(bundle: Json) -> str:
    """Return the bundle as JSON on one line, as the models of FHIR R4B write it; raises NotSound."""
    faults = loose_ends(bundle)
    if faults:
        raise NotSound("; ".join(faults))
    try:
        return str(Bundle.model_validate(bundle).model_dump_json())
    except ValueError as error:
        raise NotSound(str(error)) from error
