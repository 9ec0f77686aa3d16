"""The record document: sound by the library, by our walk and by the standard's own schema, and true to the plan."""

from __future__ import annotations

import copy
import json
from html.parser import HTMLParser

import pytest

from pathway.exports.fhir.bundle import document, loose_ends
from pathway.exports.fhir.checked import checked
from pathway.problems import CannotBeDone
from pathway.protocol.question import Question
from pathway.record import Decision, Record
from pathway.views.words.caution import INVENTED
from pathway.views.words.roads import other_stages
from tests.examples import NAMES, ON, example, example_plan
from tests.exports.made import R4, STAMP, bundle, entries_of, file_of, resources, rules
from tests.made_once import made_once
from tests.sample import with_notes

OURS = "https://limb-pathway.invalid/"
VERIFIED = {
    # LOINC, as the standard's guides and C-CDA's section tables name them.
    ("http://loinc.org", "18776-5"),
    ("http://loinc.org", "30954-2"),
    ("http://loinc.org", "11450-4"),
    ("http://loinc.org", "61146-7"),
    ("http://loinc.org", "8302-2"),
    # SNOMED CT: bone structure of femur and tibia, with the side as in R4's example observation-example-bmd.
    ("http://snomed.info/sct", "71341001:272741003=7771000"),
    ("http://snomed.info/sct", "71341001:272741003=24028007"),
    ("http://snomed.info/sct", "12611008:272741003=7771000"),
    ("http://snomed.info/sct", "12611008:272741003=24028007"),
    # Code systems of the standard itself.
    ("http://terminology.hl7.org/CodeSystem/v3-ObservationValue", "PSEUDED"),
    ("http://terminology.hl7.org/CodeSystem/v3-ActReason", "HTEST"),
    ("http://terminology.hl7.org/CodeSystem/condition-clinical", "active"),
    ("http://terminology.hl7.org/CodeSystem/observation-category", "vital-signs"),
    ("http://terminology.hl7.org/CodeSystem/data-absent-reason", "not-performed"),
    ("http://terminology.hl7.org/CodeSystem/data-absent-reason", "temp-unknown"),
    ("http://terminology.hl7.org/CodeSystem/data-absent-reason", "unknown"),
    ("http://terminology.hl7.org/CodeSystem/data-absent-reason", "asked-declined"),
}


def codings(node: object):
    if isinstance(node, dict):
        if "system" in node and "code" in node and "value" not in node:
            yield node["system"], node["code"]
        for value in node.values():
            yield from codings(value)
    elif isinstance(node, list):
        for value in node:
            yield from codings(value)


@pytest.mark.parametrize("name", NAMES)
def test_the_standards_schema_finds_nothing(name: str) -> None:
    assert [error.message for error in R4.iter_errors(bundle(name))] == []


@pytest.mark.parametrize("name", NAMES)
def test_every_reference_leads_to_a_resource_of_the_document(name: str) -> None:
    assert loose_ends(bundle(name)) == ()


@pytest.mark.parametrize("name", NAMES)
def test_it_starts_with_its_composition_and_has_what_a_document_must_have(name: str) -> None:
    # FHIR R4, Bundle, rules bdl-7, bdl-9, bdl-10, bdl-11.
    found = bundle(name)
    assert found["type"] == "document"
    assert found["entry"][0]["resource"]["resourceType"] == "Composition"
    assert found["identifier"]["system"] and found["identifier"]["value"]
    assert found["timestamp"] == "2026-11-25T08:00:00Z"
    addresses = [entry["fullUrl"] for entry in found["entry"]]
    assert len(set(addresses)) == len(addresses)


@pytest.mark.parametrize("name", NAMES)
def test_only_verified_codes_are_used_and_all_else_is_text_with_our_own_id(name: str) -> None:
    foreign = {pair for pair in codings(bundle(name)) if not pair[0].startswith(OURS)}
    assert foreign <= VERIFIED


@pytest.mark.parametrize("name", NAMES)
def test_dates_and_amounts_are_those_of_the_plans_json(name: str) -> None:
    plan = example_plan(name).model_dump(mode="json")
    requests = {one["identifier"][0]["value"]: one for one in resources(bundle(name), "ServiceRequest")}
    requested = {stage.id for stage in other_stages(example_plan(name))}
    assert requests.keys() == requested
    for stage in (one for one in plan["stages"] if one["id"] in requested):
        made = requests[stage["id"]]
        period = made.get("occurrencePeriod", {})
        assert (period.get("start"), period.get("end")) == (stage["date"], stage["end_date"])
        amount = made.get("quantityQuantity", {})
        wanted = (stage["amount_mm"], "mm") if stage["amount_mm"] is not None else (stage["amount_deg"], "deg")
        assert (amount.get("value"), amount.get("code", wanted[1])) == wanted
        assert made["status"] == {"done": "completed", "under_way": "active"}.get(stage["status"], "draft")
        assert made["intent"] == ("option" if stage["status"] == "optional" else "plan")


@pytest.mark.parametrize("name", NAMES)
def test_findings_are_those_of_the_case_file(name: str) -> None:
    record = example(name)
    found = {}
    for one in resources(bundle(name), "Observation"):
        id = one["code"]["coding"][-1]["code"]
        value = one.get("valueQuantity", {}).get("value", one.get("valueBoolean"))
        if "valueCodeableConcept" in one:
            value = one["valueCodeableConcept"]["coding"][0]["code"]
        if "valueQuantity" in one and one["valueQuantity"]["code"] == "cm":
            value *= 10
        if one["status"] == "final" and "dataAbsentReason" not in one:
            sites = one.get("bodySite", {}).get("coding", [])
            place = next((c["code"].split("-")[0] for c in sites if c["system"].startswith(OURS)), None)
            found[id, place, one["effectiveDateTime"]] = value
    wanted = {
        (item.finding, item.side, visit.date.isoformat()): item.value
        for visit in record.until(ON).visits
        for item in visit.measurements
    }
    wanted |= {
        ("skeletal_age_years", None, visit.date.isoformat()): visit.skeletal_age_years
        for visit in record.until(ON).visits
        if visit.skeletal_age_years is not None
    }
    assert found == wanted


def test_a_skeletal_age_says_how_it_was_read() -> None:
    ages = [
        one
        for one in resources(bundle("oak-12"), "Observation")
        if one["code"]["coding"][-1]["code"] == "skeletal_age_years" and "valueQuantity" in one
    ]
    assert [one["method"]["text"] for one in ages] == ["hand atlas"]
    assert [one["method"]["coding"][0]["code"] for one in ages] == ["hand_atlas"]


@pytest.mark.parametrize("name", NAMES)
def test_what_is_asked_for_and_not_known_has_a_reason_and_no_value(name: str) -> None:
    plan = example_plan(name)
    derived = {rule.id for rule in rules().findings if rule.derived}
    absent = [one for one in resources(bundle(name), "Observation") if "dataAbsentReason" in one]
    asked = {question.finding for question in plan.open_questions} - derived
    assert asked <= {one["code"]["coding"][-1]["code"] for one in absent}
    assert not [key for one in absent for key in one if key.startswith("value")]


@pytest.mark.parametrize("name", NAMES)
def test_every_caution_and_that_the_child_is_invented_are_told(name: str) -> None:
    composition = bundle(name)["entry"][0]["resource"]
    texts: list[str] = []
    parser = HTMLParser()
    parser.handle_data = texts.append  # type: ignore[method-assign]
    parser.feed(composition["section"][0]["text"]["div"])
    assert texts == [*(caution.text for caution in example_plan(name).cautions), INVENTED]
    assert "(invented child)" in composition["title"]
    assert "HTEST" in [mark["code"] for mark in bundle(name)["meta"]["security"]]
    notes = [note["text"] for note in resources(bundle(name), "CarePlan")[0]["note"]]
    assert set(texts) <= set(notes)


def with_own_words(record: Record) -> Record:
    """Return the child with a note wherever a person may type one."""
    words = "Canary of 12 Mill Lane"
    decline = Decision(date=ON, by="family", kind="decline", reason=words, stage="walking_orthosis")
    waive = Decision(date=ON, by="team", kind="waive_gate", reason=words, gate="femoral_lengthening.hip_covered")
    return with_notes(record, words).model_copy(update={"decisions": (decline, waive)})


@pytest.mark.parametrize("name", ["rowan-02", "hazel-08"])
def test_nothing_identifying_leaves_but_the_pseudonym(name: str) -> None:
    record = with_own_words(example(name))
    plan = made_once(Question(record, rules(), ON), compared=False)
    written = checked(document(plan, record, rules(), STAMP, "0.1.0"))
    sent = file_of(entries_of(plan, record), child=name).replace(b"\r\n ", b"").decode()
    for text in (written, sent):
        assert "Canary" not in text and "Mill Lane" not in text
        assert record.child.date_of_birth.isoformat() not in text
        assert f"{record.child.date_of_birth:%Y%m%d}" not in text
        assert name in text
        assert INVENTED not in text and "HTEST" not in text
    child = next(e["resource"] for e in json.loads(written)["entry"] if e["resource"]["resourceType"] == "Patient")
    assert child.keys() == {"resourceType", "id", "meta", "identifier", "gender"}


def test_goals_that_bound_a_number_say_it_as_a_number() -> None:
    goal = next(rule for rule in rules().goals if rule.id == "maturity.equal_length")
    made = next(one for one in resources(bundle("rowan-02"), "Goal") if one["description"]["text"] == goal.target)
    target = made["target"][0]["detailRange"]
    assert goal.requires is not None
    wanted = {leaf.at_least for leaf in goal.requires.leaves()} | {leaf.at_most for leaf in goal.requires.leaves()}
    assert {target["low"]["value"], target["high"]["value"]} == wanted - {None}
    assert target["low"]["value"] < target["high"]["value"]


def test_a_second_plan_of_the_child_uses_the_same_addresses() -> None:
    later = made_once(Question(example("rowan-02"), rules(), ON.replace(year=2027)), compared=False)
    again = json.loads(checked(document(later, example("rowan-02"), rules(), STAMP, "0.1.0")))
    first, second = (
        {e["fullUrl"] for e in found["entry"] if e["resource"]["resourceType"] in ("Patient", "CarePlan", "Condition")}
        for found in (bundle("rowan-02"), again)
    )
    assert first == second


def test_a_reference_to_nothing_and_an_address_used_twice_are_found() -> None:
    broken = copy.deepcopy(bundle("rowan-02"))
    broken["entry"][1]["fullUrl"] = broken["entry"][2]["fullUrl"]
    told = loose_ends(broken)
    assert any("refers to" in fault and "not there" in fault for fault in told)
    assert any("used twice" in fault for fault in told)
    with pytest.raises(CannotBeDone, match="not there"):
        checked(broken)


def test_what_the_library_lets_pass_the_schema_finds() -> None:
    broken = copy.deepcopy(bundle("rowan-02"))
    resources(broken, "Observation")[0]["status"] = "finished"
    checked(broken)
    assert list(R4.iter_errors(broken))


def test_a_resource_that_is_not_whole_is_not_written() -> None:
    broken = copy.deepcopy(bundle("rowan-02"))
    del resources(broken, "ServiceRequest")[0]["intent"]
    with pytest.raises(CannotBeDone, match="intent"):
        checked(broken)
