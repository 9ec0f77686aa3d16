"""Leg lengths read back from a bundle: our own come home unchanged, others' by code or name, and faults in words."""

from __future__ import annotations

import copy
import datetime
import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pathway.casefile import case_text, read_case
from pathway.exports.fhir.bundle import document
from pathway.exports.fhir.checked import checked
from pathway.exports.fhir.codes import LENGTHS
from pathway.exports.fhir.read import pseudonym_of, read_lengths
from pathway.problems import Problem
from pathway.record import Measurement, Missing, Record, Visit
from tests.examples import NAMES, ON, example, example_plan
from tests.exports.made import STAMP, bundle, read_observations, rules

METHODS = frozenset(method.id for method in rules().methods)
WITH_LENGTHS = tuple(
    name
    for name in NAMES
    if any(item.finding in LENGTHS for visit in example(name).visits for item in visit.measurements)
)


def visits(found: tuple[Visit, ...] | tuple[Problem, ...]) -> tuple[Visit, ...]:
    assert all(isinstance(item, Visit) for item in found), found
    return tuple(item for item in found if isinstance(item, Visit))


def told(found: tuple[Visit, ...] | tuple[Problem, ...]) -> str:
    assert found and all(isinstance(item, Problem) for item in found), found
    return "\n".join(item.sentence for item in found if isinstance(item, Problem))


def observation(**changes: Any) -> dict[str, Any]:
    """Return the length of the left femur as another program may write it; None takes a field away."""
    made = {
        "resourceType": "Observation",
        "status": "final",
        "code": {"text": "Length of the femur"},
        "subject": {"reference": "Patient/1"},
        "effectiveDateTime": "2026-11-18T09:30:00+01:00",
        "bodySite": {"coding": [{"system": "http://snomed.info/sct", "code": "71341001:272741003=7771000"}]},
        "method": {"coding": [{"system": "https://limb-pathway.invalid/codes/method", "code": "ct_scout"}]},
        "valueQuantity": {"value": 11.9, "unit": "cm", "system": "http://unitsofmeasure.org", "code": "cm"},
        **changes,
    }
    return {key: value for key, value in made.items() if value is not None}


def of(*made: dict[str, Any]) -> dict[str, Any]:
    return {"resourceType": "Bundle", "type": "collection", "entry": [{"resource": one} for one in made]}


@pytest.mark.parametrize("name", WITH_LENGTHS)
def test_what_was_exported_comes_back_unchanged(name: str) -> None:
    back = visits(read_observations(bundle(name), name, METHODS))
    wanted = {
        (visit.date, item.finding, item.side, item.value, item.method)
        for visit in example(name).until(ON).visits
        for item in visit.measurements
        if item.finding in LENGTHS
    }
    assert {(v.date, m.finding, m.side, m.value, m.method) for v in back for m in v.measurements} == wanted
    assert [visit.date for visit in back] == sorted(visit.date for visit in back)
    assert pseudonym_of(bundle(name)) == name


@pytest.mark.parametrize("name", WITH_LENGTHS)
def test_what_comes_back_is_a_case_file_again(name: str) -> None:
    record = Record(child=example(name).child, visits=visits(read_observations(bundle(name), name, METHODS)))
    assert isinstance(read_case(case_text(record), f"{name}.toml", rules()), Record)


@pytest.mark.parametrize("why", ["never_measured", "not_measurable", "declined"])
def test_a_length_that_is_not_there_comes_back_with_its_reason(why: Any) -> None:
    record = example("rowan-02")
    gap = Missing(finding="femur_length_mm", side="right", why=why)
    last = record.visits[-1]
    kept = tuple(m for m in last.measurements if (m.finding, m.side) != ("femur_length_mm", "right"))
    visit = last.model_copy(update={"measurements": kept, "missing": (gap,)})
    changed = record.model_copy(update={"visits": (*record.visits[:-1], visit)})
    made = json.loads(checked(document(example_plan("rowan-02"), changed, rules(), STAMP, "0.1.0")))
    assert visits(read_observations(made, methods=METHODS))[-1].missing == (gap,)


@given(
    st.sampled_from(sorted(LENGTHS)),
    st.sampled_from(["left", "right"]),
    st.integers(1, 9000).map(lambda tenths: tenths / 10),
    st.integers(0, 300).map(lambda days: ON - datetime.timedelta(days=days)),
    st.sampled_from(sorted(METHODS)),
)
def test_any_length_makes_the_round_trip(finding: str, side: Any, value: float, day: Any, method: str) -> None:
    item = Measurement(finding=finding, side=side, value=value, method=method)
    record = Record(child=example("rowan-02").child, visits=(Visit(date=day, method=method, measurements=(item,)),))
    made = document(example_plan("rowan-02"), record, rules(), STAMP, "0.1.0")
    assert visits(read_observations(made))[-1].measurements == (item,)


def test_another_programs_length_is_read_by_name_place_and_unit() -> None:
    (visit,) = visits(read_observations(of(observation())))
    assert visit.date.isoformat() == "2026-11-18"
    assert visit.measurements == (Measurement(finding="femur_length_mm", side="left", value=119.0, method="ct_scout"),)


@pytest.mark.parametrize(
    ("value", "unit", "mm"), [(119, "mm", 119.0), (11.9, "cm", 119.0), (0.119, "m", 119.0), (12.05, "cm", 120.5)]
)
def test_units_become_millimetres(value: float, unit: str, mm: float) -> None:
    quantity = {"value": value, "system": "http://unitsofmeasure.org", "code": unit}
    (visit,) = visits(read_observations(of(observation(valueQuantity=quantity))))
    assert visit.measurements[0].value == mm


def test_a_method_that_is_not_told_may_be_told_for_all() -> None:
    assert "expected the id of a measurement method" in told(read_observations(of(observation(method=None))))
    (visit,) = visits(read_observations(of(observation(method=None)), unsaid_method="tape"))
    assert visit.measurements[0].method == "tape"


@pytest.mark.parametrize("status", ["entered-in-error", "cancelled"])
def test_what_was_withdrawn_is_passed_over(status: str) -> None:
    (visit,) = visits(read_observations(of(observation(), observation(status=status, valueQuantity=None))))
    assert len(visit.measurements) == 1


def test_what_is_no_leg_length_is_passed_over() -> None:
    weight = observation(code={"text": "Body weight"}, status="preliminary", subject={"reference": "Patient/2"})
    assert len(visits(read_observations(of(weight, observation())))) == 1


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"status": "preliminary"}, "entry[0].status: found 'preliminary', expected one of final, amended, corrected"),
        ({"effectiveDateTime": "2026-11"}, "found '2026-11', expected a full date (YYYY-MM-DD)"),
        ({"effectiveDateTime": None}, "found no day, expected a full date"),
        ({"effectiveDateTime": "2026-11-31"}, "found '2026-11-31'"),
        ({"effectiveDateTime": "2026-11-18Tnoon"}, "found '2026-11-18Tnoon'"),
        ({"bodySite": None}, "found 'no side', expected left or right"),
        ({"bodySite": {"text": "left and right femur"}}, "expected left or right"),
        ({"valueQuantity": None}, "found no quantity, expected a length in mm, cm or m"),
        (
            {"valueQuantity": {"value": 4.7, "unit": "in", "code": "[in_i]"}},
            "found the unit 'in', expected mm, cm or m",
        ),
        ({"valueQuantity": {"value": "119", "unit": "mm"}}, "found '119', expected a number"),
        ({"valueQuantity": {"value": True, "unit": "mm"}}, "found True, expected a number"),
        ({"valueQuantity": {"value": float("nan"), "unit": "mm"}}, "found nan, expected a number"),
        ({"valueQuantity": {"value": -3, "unit": "mm"}}, "found -3, expected a length above 0"),
        ({"valueQuantity": {"value": 119, "unit": "mm", "comparator": ">"}}, "found the comparator '>'"),
        (
            {"dataAbsentReason": {"coding": [{"code": "masked"}]}},
            "found masked, expected not-performed or asked-declined",
        ),
        ({"method": {"coding": [{"system": "https://limb-pathway.invalid/codes/method", "code": "guess"}]}}, "'guess'"),
    ],
)
def test_what_cannot_be_used_is_said_with_its_place(changes: dict[str, Any], sentence: str) -> None:
    assert sentence in told(read_observations(of(observation(**changes)), "b.json", METHODS))


def test_all_faults_are_told_at_once_and_nothing_is_read_by_halves() -> None:
    found = read_observations(of(observation(), observation(status="draft"), observation(bodySite=None)))
    assert told(found).count("\n") == 1


def test_lengths_of_two_children_are_not_mixed() -> None:
    other = observation(subject={"reference": "Patient/2"}, effectiveDateTime="2026-11-19")
    assert "found lengths of 2 children, expected those of one child" in told(
        read_observations(of(observation(), other))
    )


def with_patients(*made: dict[str, Any], **names: str) -> dict[str, Any]:
    """A bundle whose patients have the given pseudonyms: `one="rowan-02"` is Patient/one."""
    entries = [
        {
            "fullUrl": f"urn:uuid:{own}",
            "resource": {
                "resourceType": "Patient",
                "id": own,
                "identifier": [{"system": "https://limb-pathway.invalid/pseudonym", "value": pseudonym}],
            },
        }
        for own, pseudonym in names.items()
    ]
    return {"resourceType": "Bundle", "type": "collection", "entry": [*entries, *of(*made)["entry"]]}


def test_the_wanted_child_is_told_from_another_one_of_the_bundle() -> None:
    mine, theirs = ({"reference": f"Patient/{own}"} for own in ("one", "two"))
    made = with_patients(
        observation(subject=mine), observation(subject=theirs, bodySite=None), one="rowan-02", two="oak-12"
    )
    reading = read_lengths(made, "b.json", child="rowan-02")
    assert len(reading.visits) == 1
    assert "found lengths of another child ('oak-12'), expected those of rowan-02" in reading.faults[-1].sentence


def test_a_child_may_be_referred_to_in_two_ways() -> None:
    subjects = ({"reference": "Patient/one"}, {"reference": "urn:uuid:one"})
    made = (observation(subject=s, effectiveDateTime=f"2026-11-1{n}") for n, s in enumerate(subjects))
    assert len(visits(read_observations(with_patients(*made, one="rowan-02")))) == 2


def test_the_only_child_of_a_bundle_is_taken_for_the_wanted_one_unless_it_is_named_otherwise() -> None:
    assert read_lengths(of(observation()), child="rowan-02").faults == ()
    named = with_patients(observation(subject={"reference": "Patient/one"}), one="oak-12")
    assert "'oak-12'" in read_lengths(named, child="rowan-02").faults[0].sentence
    assert read_lengths(named, child="rowan-02").visits == ()


def test_what_is_passed_over_is_counted_in_words() -> None:
    made = of(
        observation(),
        observation(code={"text": "Body weight"}),
        observation(status="entered-in-error"),
        observation(status="registered", valueQuantity=None, dataAbsentReason={"text": "asked for"}),
    )
    made["entry"] += [1, {}, {"resource": "x"}]
    assert read_lengths(made).left_out == (
        "1 Observation skipped: of findings other than leg lengths",
        "1 Observation skipped: withdrawn at their source",
        "1 Observation skipped: requested but not made yet",
        "3 entries skipped: no resource in them",
    )


def test_of_two_values_of_one_day_neither_is_among_the_visits() -> None:
    other = observation(effectiveDateTime="2026-11-19")
    reading = read_lengths(of(observation(), observation(), other))
    assert [visit.date.isoformat() for visit in reading.visits] == ["2026-11-19"]


def test_two_values_of_one_day_are_not_chosen_between() -> None:
    assert "a second length of the femur, left, on 2026-11-18" in told(
        read_observations(of(observation(), observation()))
    )


@pytest.mark.parametrize(
    "made", [None, [], "x", {}, {"resourceType": "Patient"}, of(), {"resourceType": "Bundle", "entry": "x"}]
)
def test_what_is_no_bundle_or_holds_no_length_is_refused(made: Any) -> None:
    assert "expected" in told(read_observations(made))
    assert pseudonym_of(made) is None


@given(st.data())
def test_a_bundle_with_anything_put_anywhere_gives_visits_or_faults(data: st.DataObject) -> None:
    made = copy.deepcopy(of(observation(), observation(effectiveDateTime="2026-11-19")))
    junk = st.none() | st.integers() | st.text(max_size=5) | st.just([]) | st.just({}) | st.just([1]) | st.just([{}])
    node: Any = made
    while True:
        key = data.draw(st.sampled_from(sorted(node) if isinstance(node, dict) else range(len(node))))
        if isinstance(node[key], dict | list) and node[key] and data.draw(st.booleans()):
            node = node[key]
            continue
        node[key] = data.draw(junk)
        break
    found = read_observations(made)
    assert found
    assert len({type(item) for item in found}) == 1
