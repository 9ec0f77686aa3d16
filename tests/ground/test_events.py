"""Events of a child: one idea of the same event, whoever enters it, in whatever order, before or after others save."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from pathway.events import Correction, NewCalendar, NewCard, apply, diff, rebase, same_event, single
from pathway.record import CaseCalendar, Measurement, Missing, Operation, Record, Visit
from tests.sample import ON, at_age, child, decision, operation, visit

DAY = at_age(5)
FEMUR = visit(DAY, {"affected.femur_length_mm": 170.0})
TIBIA = visit(DAY, {"affected.tibia_length_mm": 140.0})
DONE = operation("femoral_lengthening", at_age(4), achieved_mm=48.0)
OFF = DONE.model_copy(update={"achieved_mm": None, "device_removed": at_age(4.6)})
WISH = decision("decline", date=ON, stage="contralateral_growth_arrest", reason="so")


def findings(record: Record) -> set[Measurement | Missing]:
    return {one for visit in record.visits for one in (*visit.measurements, *visit.missing)}


class TestTheSameEvent:
    def test_a_visit_is_one_of_its_day_and_an_operation_of_kind_day_and_side(self) -> None:
        assert same_event(FEMUR, TIBIA)
        assert not same_event(FEMUR, visit(at_age(5.1), {"affected.femur_length_mm": 170.0}))
        assert same_event(DONE, OFF)
        for other in ({"side": "right"}, {"date": at_age(4.1)}, {"kind": "tibial_lengthening"}):
            assert not same_event(DONE, DONE.model_copy(update=other)), other
        assert not same_event(WISH, WISH.model_copy(update={"reason": "otherwise"}))
        assert not same_event(FEMUR, DONE)

    def test_what_is_entered_again_completes_what_is_known(self) -> None:
        both = apply(child(), [DONE, OFF, DONE, WISH, WISH, FEMUR, TIBIA])
        assert both.operations == (DONE.model_copy(update={"device_removed": at_age(4.6)}),)
        assert both.decisions == (WISH,)
        assert len(both.visits) == 1
        assert findings(both) == {*FEMUR.measurements, *TIBIA.measurements}

    def test_a_value_takes_the_place_of_a_value_or_of_not_measured(self) -> None:
        gap = Missing(finding="femur_length_mm", side="left", why="declined")
        empty = Visit(date=DAY, method=FEMUR.method, missing=(gap,), note="cried")
        first = apply(child(), [empty, FEMUR])
        assert findings(first) == set(FEMUR.measurements)
        assert first.visits[0].note == "cried"
        assert findings(apply(first, [empty])) == {gap}


def hand(years: float | None, method: str | None = None) -> Visit:
    return Visit(date=DAY, method=FEMUR.method, skeletal_age_years=years, skeletal_age_method=method)


class TestASkeletalAgeAndHowItWasRead:
    def test_the_way_of_reading_comes_with_the_age_and_completes_it(self) -> None:
        (seen,) = apply(child(hand(12.5)), [hand(12.5, "hand_atlas")]).visits
        assert (seen.skeletal_age_years, seen.skeletal_age_method) == (12.5, "hand_atlas")
        (again,) = apply(child(seen), [hand(12.5), FEMUR]).visits
        assert again.skeletal_age_method == "hand_atlas"

    def test_another_age_does_not_keep_the_way_in_which_the_one_before_was_read(self) -> None:
        (seen,) = apply(child(hand(12.5, "hand_atlas")), [hand(13.0)]).visits
        assert (seen.skeletal_age_years, seen.skeletal_age_method) == (13.0, None)
        (other,) = apply(child(hand(12.5, "hand_atlas")), [hand(13.0, "elbow_stages")]).visits
        assert other.skeletal_age_method == "elbow_stages"

    def test_a_correction_of_either_is_one_event(self) -> None:
        for was, now in (
            (hand(12.5, "hand_atlas"), hand(12.5, "elbow_stages")),
            (hand(12.5, "hand_atlas"), hand(13.0, "hand_atlas")),
            (hand(12.5, "hand_atlas"), hand(12.5)),
            (hand(12.5), hand(12.5, "hand_atlas")),
        ):
            (event,) = diff(child(was), child(now))
            assert apply(child(was), [event]).visits == (now,)
            assert list(single(event)) == [now]

    def test_an_age_that_is_taken_back_takes_its_way_of_reading_along(self) -> None:
        both = FEMUR.model_copy(update={"skeletal_age_years": 12.5, "skeletal_age_method": "hand_atlas"})
        (event,) = diff(child(both), child(FEMUR))
        (removed,) = single(event)
        assert removed == Correction(hand(12.5, "hand_atlas"), None)
        assert apply(child(both), [removed]).visits == (FEMUR,)


class TestOnTopOfOthers:
    def test_what_is_known_there_is_left_out_and_what_is_completed_is_a_correction(self) -> None:
        theirs = child(FEMUR, operations=(DONE,), decisions=(WISH,))
        there = DONE.model_copy(update={"device_removed": at_age(4.6)})
        assert rebase([FEMUR, DONE, WISH], theirs) == ()
        assert rebase([OFF], theirs) == (Correction(DONE, there),)

    def test_who_takes_a_visit_back_takes_nothing_of_others_back(self) -> None:
        both = apply(child(FEMUR), [TIBIA])
        assert findings(apply(both, [Correction(FEMUR, None)])) == set(TIBIA.measurements)
        assert apply(child(FEMUR), [Correction(FEMUR, None)]).visits == ()

    def test_who_takes_an_operation_back_that_others_completed_leaves_it(self) -> None:
        theirs = apply(child(operations=(DONE,)), [OFF])
        assert apply(theirs, [Correction(DONE, None)]) == theirs

    def test_a_side_corrected_here_and_a_device_taken_off_there_are_one_operation(self) -> None:
        right = DONE.model_copy(update={"side": "right"})
        theirs = apply(child(operations=(DONE,)), [OFF])
        both = right.model_copy(update={"device_removed": at_age(4.6)})
        assert apply(theirs, [Correction(DONE, right)]).operations == (both,)

    def test_what_was_entered_and_corrected_among_the_events_is_entered_once(self) -> None:
        over = DONE.model_copy(update={"achieved_mm": 50.0})
        assert rebase([DONE, Correction(DONE, over)], child()) == (over,)
        assert rebase([DONE, Correction(DONE, None)], child()) == ()
        assert rebase([Correction(DONE, None), DONE], child(operations=(DONE,))) == ()

    def test_card_and_calendar_are_events_too(self) -> None:
        known = child(FEMUR)
        card = NewCard(known.child.model_copy(update={"note": "seen"}))
        calendar = NewCalendar(CaseCalendar(operating_weekdays=("tuesday",)))
        after = apply(known, [card, calendar])
        assert set(diff(known, after)) == {card, calendar} == set(rebase([card, calendar], known))
        assert rebase([card, calendar], after) == ()


VISITS = st.builds(
    lambda age, named: visit(at_age(age), named),
    st.sampled_from([4.0, 5.0, 6.0]),
    st.dictionaries(
        st.sampled_from(["affected.femur_length_mm", "other.femur_length_mm", "affected.tibia_length_mm"]),
        st.sampled_from([170.0, 171.5, 260.0]),
        min_size=1,
    ),
)
OPERATIONS = st.builds(
    Operation,
    kind=st.sampled_from(["femoral_lengthening", "guided_growth"]),
    date=st.sampled_from([at_age(4), at_age(5)]),
    side=st.sampled_from(["left", "right"]),
    achieved_mm=st.sampled_from([None, 40.0, 48.0]),
    complications=st.sampled_from([(), ("deep_infection",), ("deep_infection", "hip_subluxation")]),
)
DECISIONS = st.builds(lambda why: decision("decline", date=ON, stage="a", reason=why), st.sampled_from("abc"))
ENTERED = st.lists(st.one_of(VISITS, OPERATIONS, DECISIONS), max_size=6)
RECORDS = ENTERED.map(lambda events: apply(child(), events))


@given(RECORDS, RECORDS)
def test_the_events_between_two_records_make_one_of_the_other(old: Record, new: Record) -> None:
    for events in (diff(old, new), rebase(diff(old, new), old)):
        after = apply(old, events)
        assert after.visits == new.visits
        assert set(after.operations) == set(new.operations)
        assert set(after.decisions) == set(new.decisions)


@given(RECORDS, ENTERED)
def test_events_as_they_stand_on_a_record_do_the_same_once_and_nothing_twice(record: Record, events: list) -> None:
    after = apply(record, events)
    assert apply(record, rebase(events, record)) == after
    assert not diff(apply(after, rebase(events, record)), after)
    named = [(type(one), one.date, getattr(one, "kind", ""), getattr(one, "side", "")) for one in after.operations]
    assert len(set(named)) == len(named)
    assert len({one.date for one in after.visits}) == len(after.visits)


@given(RECORDS, ENTERED)
def test_the_smallest_events_together_are_the_events(record: Record, events: list) -> None:
    each = [one for event in rebase(events, record) for one in single(event)]
    assert not diff(apply(record, each), apply(record, events))


@given(RECORDS, ENTERED, ENTERED)
def test_two_who_enter_at_a_time_lose_nothing_whoever_saves_first(known: Record, one: list, other: list) -> None:
    for first, second in ((one, other), (other, one)):
        both = apply(apply(known, first), rebase(second, apply(known, first)))
        for event in second:
            if isinstance(event, Operation):
                (there,) = (done for done in both.operations if same_event(done, event))
                assert set(event.complications) <= set(there.complications)
        assert {day.date for day in both.visits} >= {e.date for e in (*one, *other) if isinstance(e, Visit)}
        assert set(both.decisions) >= {e for e in (*one, *other) if not isinstance(e, Visit | Operation)}
