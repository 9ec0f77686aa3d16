"""The lanes: every name whole in a column of its own, days at the right, windows and last days on the axis."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathway.plan.model import Plan
from pathway.views.pictures.lanes import HEAD_ROWS, LAST, WINDOW, Lanes, age_on, draw_lanes
from pathway.views.pictures.picture import Role, stage_role
from pathway.views.pictures.rows import DRAWN, IF, NO_DATE, rows_of, short_span
from pathway.views.pictures.timeline import timeline_ages
from pathway.views.words import roads
from pathway.views.words.plan import STATUS_MARKS, cm_words
from tests.offenders import for_each
from tests.plans import files, plan
from tests.views.pictures.read import cells, line_read, name_read

WIDTHS = (80, 120, 200)


def drawn(of: Plan, width: int = 120, **wishes: object) -> Lanes:
    past = bool(wishes.get("past"))
    return draw_lanes(of, width, *timeline_ages(of, past=past), **wishes)  # type: ignore[arg-type]


@for_each(itertools.product(files(), WIDTHS))
def test_every_name_is_read_in_full_at_every_width(child, width) -> None:
    """Stages of a folded row are named when they are selected; what has no date is listed by name."""
    of = plan(child)
    for stage in of.stages:
        if roads.is_the_road(stage):
            continue
        lanes = drawn(of, width, selected=stage.id, past=True)
        read = name_read(lanes, stage.id) if stage.date or stage.road == "prosthetic" else line_read(lanes, stage.id)
        assert stage.label in read, (stage.id, read)


@for_each(itertools.product(files(), WIDTHS))
def test_every_day_and_amount_of_a_row_is_read_in_full(child, width) -> None:
    of = plan(child)
    for row in rows_of(of, past=True).dated:
        read = line_read(drawn(of, width, past=True), row.shown.id)
        assert str(row.shown.date) in read
        assert row.shown.amount_mm is None or cm_words(row.shown.amount_mm) in read
        assert row.slip in read


@for_each(itertools.product(files(), WIDTHS))
def test_no_span_lies_over_another_or_outside(child, width) -> None:
    picture = drawn(plan(child), width, past=True).picture
    seen: set[tuple[int, int]] = set()
    for span in picture.spans:
        covered = {(span.row, span.column + offset) for offset in range(len(span.text))}
        assert not covered & seen
        seen |= covered
    assert all(0 <= row < picture.height and 0 <= column < width for row, column in seen)


@for_each(itertools.product(files(), WIDTHS))
def test_every_stage_has_its_mark_of_status(child, width) -> None:
    """In a shared row two examinations of one day have one place: the selected one is on top."""
    of = plan(child)
    shared = {stage.id for row in rows_of(of, past=True).dated if len(row.stages) > 1 for stage in row.stages}
    for stage in of.stages:
        chosen = stage.id if stage.id in shared else None
        if not roads.is_the_road(stage):
            spans = drawn(of, width, past=True, selected=chosen).picture.spans
            marks = [s for s in spans if s.target == stage.id and s.role == stage_role(stage.status)]
            assert any(span.text.startswith(STATUS_MARKS[stage.status]) for span in marks), stage.id


@for_each(itertools.product(files(), WIDTHS))
def test_every_last_day_inside_the_ages_has_its_mark_at_its_place(child, width) -> None:
    of = plan(child)
    lanes = drawn(of, width)
    axis, rows, text = lanes.columns.axis, rows_of(of), cells(lanes)
    for row in (*rows.dated, *rows.road):
        stage = row.shown
        if stage.window is None or stage.window.latest is None or len(row.stages) > 1 or stage.begun:
            continue
        age = age_on(of.child.date_of_birth, stage.window.latest)
        told = stage.operation or stage.road == "prosthetic"
        if told and axis.from_age <= age <= axis.to_age:
            at = axis.column(age)
            assert LAST in text[lanes.places[stage.id][0]][at : at + 2], stage.id


def test_a_last_day_on_the_day_of_the_stage_stands_behind_its_mark() -> None:
    of = plan("hawthorn-12")
    stage = of.stage("contralateral_growth_arrest")
    assert stage.window is not None
    assert stage.date is not None
    at_once = stage.model_copy(update={"window": stage.window.model_copy(update={"latest": stage.date})})
    lanes = drawn(of.model_copy(update={"stages": (at_once,)}), 80)
    row = cells(lanes)[lanes.places[stage.id][0]]
    assert f"{STATUS_MARKS[stage.status]}{LAST}" in row


def test_the_days_allowed_are_a_texture_up_to_the_last_and_never_over_a_name() -> None:
    of = plan("willow-03")
    lanes = drawn(of)
    row = cells(lanes)[lanes.places["contralateral_growth_arrest"][0]]
    inside = row[lanes.columns.axis.left : lanes.columns.axis.right]
    assert WINDOW in inside
    assert inside.rstrip().endswith(LAST)
    assert WINDOW not in row[: lanes.columns.axis.left]
    assert WINDOW not in row[lanes.columns.axis.right + 1 :]


def test_examinations_that_come_again_share_a_row_with_their_number() -> None:
    of = plan("rowan-02")
    again = [stage for stage in of.stages if stage.label.startswith("Reassessment")]
    assert len(again) > 2
    lanes = drawn(of)
    assert len({lanes.places[stage.id] for stage in again}) == 1
    assert name_read(lanes, again[0].id) == f"Reassessment ({len(again)} times)"
    row = lanes.places[again[0].id][0]
    marks = {s.column for s in lanes.picture.spans if s.row == row and s.role is Role.STAGE_LATER}
    assert len([column for column in marks if column >= lanes.columns.axis.left]) >= len(again) - 1


def test_a_stage_selected_in_a_shared_row_is_named_with_its_day() -> None:
    of = plan("rowan-02")
    again = [stage for stage in of.stages if stage.label.startswith("Reassessment")]
    chosen = sorted(again, key=lambda stage: str(stage.date))[1]
    lanes = drawn(of, selected=chosen.id)
    assert name_read(lanes, chosen.id) == f"{chosen.label} (2 of {len(again)})"
    assert str(chosen.date) in line_read(lanes, chosen.id)


def test_operations_never_share_a_row() -> None:
    of = plan("cedar-05")
    places = drawn(of).places
    operations = [stage.id for stage in of.stages if stage.operation and stage.date is not None]
    assert len({places[id] for id in operations}) == len(operations) > 5


def test_what_is_done_is_folded_away_and_counted_until_it_is_opened() -> None:
    of = plan("hazel-08")
    done = [stage for stage in of.stages if stage.status == "done"]
    folded, opened = drawn(of), drawn(of, past=True)
    assert not any(stage.id in folded.places for stage in done)
    assert cells(folded)[0].startswith(f"Before today: {len(done)} done (p)")
    assert all(stage.label in name_read(opened, stage.id) for stage in done)


def test_a_done_stage_that_is_selected_opens_the_past() -> None:
    of = plan("hazel-08")
    done = next(stage for stage in of.stages if stage.status == "done")
    assert done.label in name_read(drawn(of, selected=done.id), done.id)


def test_what_may_come_stands_in_a_row_of_its_own_with_what_asks_for_it() -> None:
    of = plan("hazel-08")
    lanes = drawn(of, 80)
    first = min(lanes.places[stage.id][0] for stage in of.stages if stage.status == "optional")
    assert cells(lanes)[first].startswith(IF)
    assert "Knee preparation (once lateral femoral condyle is known)" in line_read(lanes, "knee_preparation_1")


def test_blocked_stages_without_a_date_are_listed() -> None:
    of = plan("lark-01")
    blocked = [stage for stage in of.stages if stage.status == "blocked" and stage.date is None]
    assert blocked
    text = drawn(of).picture.text
    assert NO_DATE in text
    assert all(f"✕ {stage.label}" in text for stage in blocked)


def test_the_prosthetic_road_has_its_usual_ages_and_no_date() -> None:
    of = plan("maple-01")
    for width in WIDTHS:
        lanes = drawn(of, width)
        for stage in roads.prosthetic_stages(of):
            assert roads.span_words(of, stage, short=True) in line_read(lanes, stage.id)


def test_a_road_that_is_drawn_and_not_chosen_is_marked() -> None:
    of = plan("birch-04")
    marked = [stage for stage in of.stages if roads.of_lengthening(of, stage) and stage.operation]
    lanes = drawn(of)
    assert marked
    assert all(name_read(lanes, stage.id).endswith(DRAWN) for stage in marked)
    assert DRAWN not in drawn(plan("rowan-02")).picture.text


def test_what_lies_outside_the_ages_keeps_its_row() -> None:
    of = plan("rowan-02")
    today = of.child.age_years
    lanes = draw_lanes(of, 120, today, today + 1)
    for stage in of.stages:
        if stage.date is not None and stage.operation:
            assert stage.label in name_read(lanes, stage.id)
            assert "▸" in line_read(lanes, stage.id) or STATUS_MARKS[stage.status] in line_read(lanes, stage.id)
    assert "▸" in lanes.picture.text


@pytest.mark.parametrize(
    ("days", "words"), [(0, "0 days"), (1, "1 day"), (60, "60 days"), (335, "11 m"), (731, "2 y"), (3651, "9 y 11 m")]
)
def test_how_long_a_stage_may_slip_is_never_said_to_be_more(days, words) -> None:
    assert short_span(days) == words


@settings(max_examples=40, deadline=None)
@given(
    child=st.sampled_from(sorted(files())),
    width=st.integers(60, 260),
    start=st.floats(0, 12),
    years=st.floats(0.5, 18),
    past=st.booleans(),
)
def test_any_part_of_the_ages_stays_within_its_width_and_names_everything(child, width, start, years, past) -> None:
    of = plan(child)
    lanes = draw_lanes(of, width, start, start + years, past=past)
    assert max(len(line) for line in lanes.picture.text.split("\n")) <= width
    assert lanes.picture.height > HEAD_ROWS
    for row in rows_of(of, past=past).dated:
        assert " ".join(row.name.split()) in name_read(lanes, row.shown.id).replace("\u00a0", " ")


def test_ages_must_ascend() -> None:
    with pytest.raises(ValueError, match="ascend"):
        draw_lanes(plan("rowan-02"), 80, 5.0, 5.0)
