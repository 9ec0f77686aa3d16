"""Whatever child, every export is sound: schema, references, another parser, and lengths that come home."""

from __future__ import annotations

import json

from hypothesis import HealthCheck, given, settings

from pathway.exports.fhir.bundle import document
from pathway.exports.fhir.checked import checked
from pathway.exports.fhir.codes import LENGTHS
from pathway.plan.make import make_plan
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.record import Visit
from tests.exports.made import R4, STAMP, entries_of, events, file_of, read_observations, rules
from tests.outside.properties.records import records


@settings(
    max_examples=10,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(records(load_protocol()))
def test_every_export_of_any_child_is_sound(pair) -> None:
    record, on = pair
    plan = make_plan(Question(record, rules(), on), compared=False)
    made = json.loads(checked(document(plan, record, rules(), STAMP, "0.1.0")))
    assert [error.message for error in R4.iter_errors(made)] == []
    entries = entries_of(plan, record)
    if entries:
        found = events(file_of(entries, on, child=record.child.id))
        assert len(found) == len(entries)
        assert sorted(event.dtstart.value for event in found.values()) == [entry.day for entry in entries]
    wanted = {
        (visit.date, item.finding, item.side, item.value)
        for visit in record.until(on).visits
        for item in visit.measurements
        if item.finding in LENGTHS
    }
    back = read_observations(made)
    read = {(v.date, m.finding, m.side, m.value) for v in back if isinstance(v, Visit) for m in v.measurements}
    assert read == wanted
