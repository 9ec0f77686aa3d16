"""The rules as PlanDefinitions: sound by the standard, complete, and with the numbers of the rules."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

from pathway.exports.fhir.bundle import loose_ends
from pathway.exports.fhir.checked import checked
from pathway.exports.fhir.rules import rules_bundle
from pathway.protocol.model import Condition
from tests.exports.made import R4, rules


@cache
def exported() -> dict[str, Any]:
    return json.loads(checked(rules_bundle(rules())))  # type: ignore[no-any-return]


def definitions() -> dict[str, dict[str, Any]]:
    return {entry["resource"]["url"].rsplit("/", 1)[1]: entry["resource"] for entry in exported()["entry"]}


def told(condition: dict[str, Any]) -> dict[str, str]:
    return {item["url"].rsplit("/", 1)[1]: item["valueString"] for item in condition["extension"]}


def test_the_standards_schema_finds_nothing() -> None:
    assert [error.message for error in R4.iter_errors(exported())] == []
    assert loose_ends(exported()) == ()


def test_there_is_one_for_each_stage_and_one_for_their_order() -> None:
    assert definitions().keys() == {stage.id.replace("_", "-") for stage in rules().stages} | {"order-of-stages"}
    order = {action["id"]: action for action in definitions()["order-of-stages"]["action"]}
    for stage in rules().stages:
        id = stage.id.replace("_", "-")
        assert order[id]["definitionCanonical"] == f"{definitions()[id]['url']}|{rules().version}"


def test_every_indication_gate_and_contraindication_is_there_and_reads_back_as_the_same_condition() -> None:
    found = {}
    for one in definitions().values():
        for action in one["action"]:
            for condition in action.get("condition", ()):
                parts = told(condition)
                found[parts["rule"]] = Condition.model_validate(json.loads(parts["condition"]))
    wanted = {rule.id: rule.when for rule in rules().indications}
    wanted |= {rule.id: rule.requires for rule in rules().gates}
    wanted |= {rule.id: Condition.model_validate({"not": rule.when}) for rule in rules().contraindications}
    assert found == wanted


def test_intervals_between_stages_keep_their_months() -> None:
    found = set()
    for action in definitions()["order-of-stages"]["action"]:
        for link in action.get("relatedAction", ()):
            assert {part["code"] for part in link.get("offsetRange", {}).values()} <= {"mo"}
            months = tuple(link.get("offsetRange", {}).get(end, {}).get("value") for end in ("low", "high"))
            found.add((link["actionId"], link["relationship"], action["id"], months))
    wanted = set()
    for rule in rules().intervals:
        if rule.later.endswith(".start") and rule.earlier_stage != rule.later_stage:
            link = f"after-{rule.earlier.rpartition('.')[2]}"
            months = (rule.at_least_months, rule.at_most_months)
            ends = (rule.earlier_stage.replace("_", "-"), link, rule.later_stage.replace("_", "-"))
            wanted.add((*ends, months))
    assert found == wanted
    assert wanted


def test_every_definition_is_a_draft_with_the_caution() -> None:
    head = next(caution.text for caution in rules().cautions if caution.head)
    assert all((one["status"], one["usage"]) == ("draft", head) for one in definitions().values())


def test_sources_are_those_of_the_rules() -> None:
    known = {source.citation for source in rules().sources}
    cited = {item["citation"] for one in definitions().values() for item in one.get("relatedArtifact", ())}
    assert cited <= known
    # Published counts are no stages: what only they rest on goes out nowhere.
    counted = {rules().source(name).citation for item in rules().harms for name in item.sources}
    assert len(cited) > len(known - counted) / 3
