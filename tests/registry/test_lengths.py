"""Leg lengths of a bundle in the registry: the same lengths come back, nothing is doubled, nothing is overwritten."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from pathway.exports.fhir.read import read_lengths
from pathway.problems import Problem, sentences
from pathway.protocol.question import Question
from pathway.record import Measurement, Missing, Record, Visit
from pathway.registry.exchange import import_record
from pathway.registry.lengths import LengthsTaken, import_lengths, merged
from pathway.registry.store import Registry, open_registry
from tests.examples import NAMES, ON, example
from tests.exports.made import bundle, rules

WHEN = datetime.datetime(2026, 11, 25, 9, 30, tzinfo=datetime.UTC)
METHODS = frozenset(method.id for method in rules().methods)
FILM = "standing_full_length_film"


def lengths(record: Record) -> set[tuple[object, ...]]:
    return {
        (visit.date, item.finding, item.side, item.value, item.method)
        for visit in record.visits
        for item in visit.measurements
        if item.finding in ("femur_length_mm", "tibia_length_mm", "leg_length_discrepancy_mm")
    }


WITH_LENGTHS = tuple(name for name in NAMES if lengths(example(name).until(ON)))


def bare(name: str) -> Record:
    """The child as it is known before anything was measured."""
    return Record(child=example(name).child)


def femur(value: float, day: str = "2026-11-18", method: str = FILM) -> Visit:
    item = Measurement(finding="femur_length_mm", side="left", value=value, method=method)
    return Visit(date=datetime.date.fromisoformat(day), method=method, measurements=(item,))


@pytest.fixture
def store(tmp_path: Path):
    with open_registry(str(tmp_path / "registry.db"), create=True) as opened:
        yield opened


def taken(store: Registry, child: str, *visits: Visit) -> LengthsTaken:
    done = import_lengths(store, child, visits, "b.json", rules(), ON, who="a nurse", when=WHEN)
    assert isinstance(done, LengthsTaken), done
    return done


def told(store: Registry, child: str, *visits: Visit) -> str:
    done = import_lengths(store, child, visits, "b.json", rules(), ON, who="a nurse", when=WHEN)
    assert not isinstance(done, LengthsTaken), done
    return sentences(done)


@pytest.mark.parametrize("name", WITH_LENGTHS)
def test_case_to_bundle_to_registry_keeps_every_length(name: str, store: Registry) -> None:
    import_record(store, bare(name), who="first", when=WHEN)
    done = taken(store, name, *read_lengths(bundle(name), name, METHODS, child=name).visits)
    assert lengths(store.record(name)) == lengths(example(name).until(ON))
    assert (done.new > 0, done.known) == (True, 0)
    assert {(e.kind, e.who, e.when) for e in store.entries(name)[1:]} == {("visit", "a nurse", WHEN)}


@pytest.mark.parametrize("name", WITH_LENGTHS)
def test_what_the_registry_knows_is_not_doubled(name: str, store: Registry) -> None:
    import_record(store, example(name), who="first", when=WHEN)
    visits = read_lengths(bundle(name), name, METHODS, child=name).visits
    done = taken(store, name, *visits)
    assert (done.new, done.head.count) == (0, 1)
    assert done.known == sum(len(visit.measurements) + len(visit.missing) for visit in visits)
    assert store.record(name) == example(name)


def test_a_length_of_a_day_that_has_a_visit_joins_it_and_the_rest_of_the_visit_stays(store: Registry) -> None:
    import_record(store, bare("rowan-02"), who="first", when=WHEN)
    taken(store, "rowan-02", femur(119.0))
    right = Measurement(finding="femur_length_mm", side="right", value=160.0, method=FILM)
    taken(store, "rowan-02", femur(119.0).model_copy(update={"measurements": (right,)}))
    (visit,) = store.record("rowan-02").visits
    assert {(item.side, item.value) for item in visit.measurements} == {("left", 119.0), ("right", 160.0)}
    assert [entry.kind for entry in store.entries("rowan-02")] == ["case", "visit", "correction"]


@pytest.mark.parametrize("other", [femur(121.0), femur(119.0, method="ct_scout")])
def test_another_value_for_what_is_known_is_told_and_nothing_is_kept(other: Visit, store: Registry) -> None:
    import_record(store, bare("rowan-02"), who="first", when=WHEN)
    taken(store, "rowan-02", femur(119.0))
    sentence = told(store, "rowan-02", other, femur(118.0, "2026-11-17"))
    assert "femur_length_mm left on 2026-11-18" in sentence
    assert "expected 119 mm (standing full length film), which is known" in sentence
    assert len(store.entries("rowan-02")) == 2


def test_a_value_takes_the_place_of_not_measured_and_never_the_other_way_round(store: Registry) -> None:
    import_record(store, bare("rowan-02"), who="first", when=WHEN)
    gap = Missing(finding="femur_length_mm", side="left", why="declined")
    empty = Visit(date=datetime.date(2026, 11, 18), method="", missing=(gap,))
    assert taken(store, "rowan-02", empty).new == 1
    assert taken(store, "rowan-02", femur(119.0)).new == 1
    assert taken(store, "rowan-02", empty).new == 0
    (visit,) = store.record("rowan-02").visits
    assert (len(visit.measurements), visit.missing) == (1, ())


@pytest.mark.parametrize(
    ("visit", "sentence"),
    [
        (femur(119.0, "2026-11-26"), "expected a date up to 2026-11-25"),
        (femur(119.0, "1999-01-01"), "expected a date on or after the date of birth"),
        (femur(11900.0), "femur_length_mm: found 11900"),
        (femur(119.0, method="guess"), "found"),
    ],
)
def test_what_a_case_file_would_be_refused_for_is_refused_here(visit: Visit, sentence: str, store: Registry) -> None:
    import_record(store, bare("rowan-02"), who="first", when=WHEN)
    said = told(store, "rowan-02", visit)
    assert sentence in said
    assert said.startswith(f"b.json, visit of {visit.date}, ")
    assert len(store.entries("rowan-02")) == 1


def test_lengths_that_cannot_be_are_refused() -> None:
    short = Measurement(finding="femur_length_mm", side=example("rowan-02").other_side, value=40.0, method=FILM)
    visit = femur(119.0).model_copy(update={"measurements": (short,)})
    found = merged(Question(bare("rowan-02"), rules(), ON), (visit,), "b.json")
    assert isinstance(found, tuple)
    assert all(isinstance(fault, Problem) for fault in found)
    assert "newborn" in sentences(found)


def test_somebody_who_saves_in_between_loses_nothing(store: Registry, monkeypatch: pytest.MonkeyPatch) -> None:
    import_record(store, bare("rowan-02"), who="first", when=WHEN)
    read, seen = store.record_and_head, []

    def overtaken(child: str):
        found = read(child)
        if not seen:
            seen.append(child)
            taken(store, child, femur(118.0, "2026-11-17"))
        return found

    monkeypatch.setattr(store, "record_and_head", overtaken)
    taken(store, "rowan-02", femur(119.0))
    assert [visit.date.day for visit in store.record("rowan-02").visits] == [17, 18]
