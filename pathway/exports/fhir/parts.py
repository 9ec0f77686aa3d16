"""What the resources of one child's document share: their lasting addresses, the child, the diagnosis, the program."""

from __future__ import annotations

from dataclasses import dataclass

from pathway.exports.fhir.codes import (
    DIAGNOSES,
    PSEUDONYMOUS,
    PSEUDONYMS,
    TERMINOLOGY,
    TEST_DATA,
    Json,
    coding,
    concept,
)
from pathway.exports.names import lasting_id
from pathway.plan.model import Plan
from pathway.views.words.caution import INVENTED, is_invented

GENDER = {"girl": "female", "boy": "male"}


@dataclass(frozen=True, slots=True)
class Addresses:
    """Makes the addresses of one child's resources from the pseudonym: the same thing, the same address."""

    child: str

    def id(self, *key: str) -> str:
        """Return the id of a resource."""
        return lasting_id(self.child, "fhir", *key)

    def reference(self, *key: str, display: str = "") -> Json:
        """Return a reference to a resource of the same document."""
        return {"reference": f"urn:uuid:{self.id(*key)}", **({"display": display} if display else {})}

    @property
    def subject(self) -> Json:
        """Return the reference to the child."""
        return self.reference("patient")


def patient(plan: Plan, at: Addresses) -> Json:
    """Return the child: pseudonym and sex. Name, birth date and notes stay here."""
    return {
        "resourceType": "Patient",
        "id": at.id("patient"),
        "meta": {"security": labels(plan)},
        "identifier": [{"system": PSEUDONYMS, "value": plan.child.id}],
        "gender": GENDER[plan.child.sex],
    }


def labels(plan: Plan) -> list[Json]:
    """Return the labels on the whole: under a pseudonym; test data where the child is invented."""
    marks = [coding(*PSEUDONYMOUS)]
    return [*marks, coding(*TEST_DATA)] if is_invented(plan.child.note) else marks


def condition(plan: Plan, at: Addresses) -> Json:
    """Return the diagnosis with its side, and each published scheme whose type is settled as a stage of it."""
    child = plan.child
    side = "both legs" if child.affected_side == "both" else f"{child.affected_side} leg"
    typed = [item for item in plan.classification if item.type != "undetermined"]
    stages = [{"summary": concept(f"{item.type}: {item.type_label}"), "type": concept(item.label)} for item in typed]
    return {
        "resourceType": "Condition",
        "id": at.id("condition"),
        "clinicalStatus": concept("active", coding(f"{TERMINOLOGY}/condition-clinical", "active", "Active")),
        "code": concept(child.diagnosis_label, coding(DIAGNOSES, child.diagnosis)),
        "bodySite": [concept(side)],
        "subject": at.subject,
        **({"stage": stages} if stages else {}),
    }


def program(version: str, at: Addresses) -> Json:
    """Return the program as the author of the document: a device that plans, and no person."""
    return {
        "resourceType": "Device",
        "id": at.id("device"),
        "deviceName": [{"name": "limb-pathway", "type": "model-name"}],
        "version": [{"value": version}],
        "note": [{"text": "A planning aid, not a medical device: the treating surgeon decides."}],
    }


def told(plan: Plan) -> tuple[str, ...]:
    """Return what must stand on the document: every caution of the plan, and that the child is invented."""
    ends = (INVENTED,) if is_invented(plan.child.note) else ()
    return (*(item.text for item in plan.cautions), *ends)
