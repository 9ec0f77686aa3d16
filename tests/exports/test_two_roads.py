"""Exports of a child with two roads: nothing of the prosthetic road is requested or entered, it is told in words."""

from __future__ import annotations

from typing import Any

import pytest

from pathway.exports.fhir.bundle import document, loose_ends
from pathway.exports.fhir.checked import checked
from pathway.views.words.roads import prosthetic_stages
from tests.exports.made import R4, STAMP, entries_of, rules
from tests.two_roads import child, made

WHO = ("three_rays", "two_rays", "asked", "both_legs")


def resources(who) -> list[dict[str, Any]]:
    bundle = document(made(who), child(who), rules(), STAMP, "0")
    checked(bundle)
    assert loose_ends(bundle) == ()
    assert not list(R4.iter_errors(bundle))
    return [entry["resource"] for entry in bundle["entry"]]


def care_plan(who) -> dict[str, Any]:
    return next(one for one in resources(who) if one["resourceType"] == "CarePlan")


@pytest.mark.parametrize("who", WHO)
class TestTheRecordDocument:
    def test_no_step_of_the_prosthetic_road_is_requested(self, who) -> None:
        steps = {stage.label for stage in prosthetic_stages(made(who))}
        asked = {one["code"]["text"] for one in resources(who) if one["resourceType"] == "ServiceRequest"}
        assert steps
        assert not steps & asked
        assert "Prosthetic pathway" not in asked

    def test_nor_is_it_an_activity_of_the_plan(self, who) -> None:
        steps = {stage.label for stage in prosthetic_stages(made(who))}
        assert not steps & {one["reference"]["display"] for one in care_plan(who).get("activity", ())}

    def test_the_plan_tells_it_in_words_with_usual_ages(self, who) -> None:
        told = [note["text"] for note in care_plan(who)["note"]]
        for stage in prosthetic_stages(made(who)):
            assert any(text.startswith(f"Prosthetic road, not requested: {stage.label}, ") for text in told)


@pytest.mark.parametrize("who", WHO)
def test_no_step_of_the_prosthetic_road_is_an_appointment(who) -> None:
    steps = {stage.id for stage in prosthetic_stages(made(who))}
    assert not steps & {entry.key.split("/")[0] for entry in entries_of(made(who), child(who))}


def test_what_is_not_planned_on_both_sides_appears_as_a_reason_and_nowhere_else() -> None:
    refused = made("both_legs").refused
    told = [note["text"] for note in care_plan("both_legs")["note"]]
    asked = {one["code"]["text"] for one in resources("both_legs") if one["resourceType"] == "ServiceRequest"}
    assert refused
    for item in refused:
        assert f"Not planned here: {item.label}: {item.because}" in told
        assert not any(text.startswith(item.label) for text in asked)
