"""What was worked on is saved as what changed: entered, completed or taken back, reading gives it again."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pathway.casefile import in_order
from pathway.events import diff
from pathway.plan.make import make_plan
from pathway.protocol.question import Question
from pathway.record import Decision, Operation, Record, Visit
from pathway.registry.journal.entry import Saved, StaleHead
from pathway.registry.journal.fold import accepted_plans
from pathway.registry.planning import save_followup
from pathway.registry.store import Registry, open_registry
from pathway.registry.verifying import verify
from tests.plans import rules
from tests.registry.keeping import LATER_VISIT, VISIT, WHEN, keep, named, wish
from tests.sample import ON, at_age, child, decision, operation, visit

NAME = "maple-03"
VISITS = (
    VISIT,
    LATER_VISIT,
    visit(at_age(5), {"affected.femur_length_mm": 171.0, "other.femur_length_mm": 261.0}),
    visit(at_age(6), {"affected.femur_length_mm": 184.0}),
)
DONE = (
    operation("hip_preparation", at_age(4)),
    operation("femoral_lengthening", at_age(5.5), achieved_mm=48.0),
    operation("femoral_lengthening", at_age(5.5), achieved_mm=50.0, device_removed=at_age(6)),
)
SAID = (wish("one"), wish("two"), decision("prefer", date=ON, prefer="fewest_operations", reason="so"))


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Registry]:
    file: Path = tmp_path_factory.mktemp("saving") / "one.db"
    with open_registry(str(file), create=True) as opened:
        yield opened


def _one_a_day(visits: list[Visit]) -> tuple[Visit, ...]:
    return tuple({one.date: one for one in visits}.values())


def _one_of_a_kind(done: list[Operation]) -> tuple[Operation, ...]:
    return tuple({(one.kind, one.date): one for one in done}.values())


RECORDS = st.builds(
    lambda visits, done, said: in_order(
        named(NAME, child(*_one_a_day(visits))).model_copy(
            update={"operations": _one_of_a_kind(done), "decisions": tuple(said)}
        )
    ),
    st.lists(st.sampled_from(VISITS), unique=True),
    st.lists(st.sampled_from(DONE), unique=True),
    st.lists(st.sampled_from(SAID), unique=True),
)
_numbers = iter(range(100_000))


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(RECORDS, min_size=1, max_size=4))
def test_the_registry_holds_what_was_wanted_after_every_saving(store, steps: list[Record]) -> None:
    name = f"maple-{next(_numbers)}"
    head = keep(store, name)
    known = store.record(name)
    for step in steps:
        wanted = step.model_copy(update={"child": known.child})
        saved = save_followup(store, name, diff(known, wanted), head, who="ward-3", when=WHEN)
        assert isinstance(saved, Saved)
        head = saved.head
        read = store.record(name)
        assert sorted_parts(read) == sorted_parts(wanted)
        known = wanted


def sorted_parts(record: Record) -> tuple[list[str], ...]:
    """Return the parts of a record as text: the order within a day has no meaning."""
    parts: tuple[tuple[Visit | Operation | Decision, ...], ...]
    parts = (in_order(record).visits, record.operations, record.decisions)
    return tuple(sorted(one.model_dump_json() for one in some) for some in parts)


def test_what_was_added_is_withdrawn_by_a_correction_and_nothing_is_said_again(store) -> None:
    head = keep(store, "ash-01")
    known = store.record("ash-01")
    more = known.model_copy(update={"visits": (*known.visits, LATER_VISIT)})
    first = save_followup(store, "ash-01", diff(known, more), head, who="ward-3", when=WHEN)
    assert isinstance(first, Saved)
    assert [one.kind for one in first.entries] == ["visit"]
    second = save_followup(store, "ash-01", diff(more, known), first.head, who="ward-3", when=WHEN)
    assert isinstance(second, Saved)
    assert [(one.kind, one.supersedes) for one in second.entries] == [("correction", first.entries[0].sequence)]


def test_an_operation_that_was_added_and_then_completed_is_one_operation(store) -> None:
    head = keep(store, "ash-02")
    known = store.record("ash-02")
    begun = known.model_copy(update={"operations": (DONE[1],)})
    first = save_followup(store, "ash-02", diff(known, begun), head, who="ward-3", when=WHEN)
    assert isinstance(first, Saved)
    over = known.model_copy(update={"operations": (DONE[2],)})
    second = save_followup(store, "ash-02", diff(begun, over), first.head, who="ward-3", when=WHEN)
    assert isinstance(second, Saved)
    assert [one.kind for one in second.entries] == ["correction"]
    assert store.record("ash-02").operations == (DONE[2],)


def test_the_plan_goes_in_with_what_it_was_made_of_or_neither(store) -> None:
    head = keep(store, "ash-03")
    known = store.record("ash-03")
    chosen = decision("choose_course", date=ON, course="arrest", reason="least time in frames")
    wanted = known.model_copy(update={"decisions": (chosen,)})
    plan = make_plan(Question(wanted, rules(), ON), compared=False)
    saved = save_followup(
        store, "ash-03", diff(known, wanted), head, who="ward-3", when=WHEN, plan=plan, reason="as wished"
    )
    assert isinstance(saved, Saved)
    assert [one.kind for one in saved.entries] == ["decision", "revision"]
    (kept,) = accepted_plans(store.entries("ash-03"))
    assert (kept.revision.reason, kept.revision.recommended) == ("as wished", False)
    late = datetime.timedelta(hours=1)
    again = save_followup(store, "ash-03", (), head, who="other", when=WHEN + late, plan=plan)
    assert isinstance(again, StaleHead)
    assert store.head("ash-03") == saved.head
    assert verify(store).faults == ()
