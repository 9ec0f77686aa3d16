"""The list of children laid out: at every width each fact stands there whole, within the width, over nothing else."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from pathway.questions.due import plan_summary
from pathway.questions.urgency import ORDERS
from pathway.views.words.child_table import (
    COLUMNS,
    FIVE_COLUMNS,
    Lines,
    due_head,
    due_lines,
    head_lines,
    layout_of,
    lines_of,
    order_words,
    plain_lines,
)
from pathway.views.words.children import (
    ORDER_WORDS,
    Row,
    in_order,
    matching,
    no_match,
    problem_row,
    summary_row,
    waiting_row,
)
from pathway.views.words.due import due_rows
from tests.examples import NAMES
from tests.plans import DAY, plan, record, rules

WIDTHS = (38, 44, 50, 59, 60, 78, 95, 96, 118, 149, 150, 198, 250)


def summaries() -> dict[str, dict[str, Any]]:
    return {name: plan_summary(plan(name), record(name), rules()) for name in NAMES}


def rows(*, kept: bool = False) -> tuple[Row, ...]:
    found = [
        summary_row(name, summary, DAY, accepted=DAY if number % 2 else None, kept=kept)
        for number, (name, summary) in enumerate(summaries().items())
    ]
    changed = {**summaries()["hazel-08"], "as_accepted": False}
    return (
        *found,
        summary_row("hazel-08-with-a-very-long-name", changed, DAY, accepted=DAY, kept=kept, unsaved=True),
        problem_row("ash-09", "ash-09.toml, line 5, child.sex: found 'girl', expected female or male"),
        waiting_row("oak-13"),
    )


def holds(lines: Lines, width: int) -> None:
    """Check that no piece reaches beyond the width or into another."""
    for pieces in lines:
        end = 0
        for piece in pieces:
            assert piece.at >= end
            end = piece.at + len(piece.text)
        assert end <= width


def told(lines: Lines) -> str:
    """Return the text of each column joined, without blanks: what was broken over lines stands together again."""
    columns: dict[int, str] = {}
    for pieces in lines:
        for piece in pieces:
            columns[piece.at] = columns.get(piece.at, "") + piece.text
    return " ".join(columns.values()).replace(" ", "")


@pytest.mark.parametrize("kept", [False, True])
@pytest.mark.parametrize("width", WIDTHS)
def test_no_fact_is_cut_and_none_lies_over_another(width, kept) -> None:
    of = layout_of(width, accepted=kept)
    for row in rows(kept=kept):
        lines = lines_of(row, of)
        holds(lines, width)
        facts = [row.name, row.age, row.when, row.last, row.needs_by]
        if width >= COLUMNS:
            facts += [row.diagnosis, row.following, row.needs, row.last_what]
            facts += row.accepted.split(", ") if kept and row.accepted != "not yet" else []
        if width >= FIVE_COLUMNS:
            facts += [row.difference, row.accepted]
        for fact in facts:
            assert fact.replace(" ", "") in told(lines), (row.name, fact)


@pytest.mark.parametrize("width", [40, 45, 50])
def test_on_a_phone_a_child_takes_about_three_lines(width) -> None:
    of = layout_of(width, accepted=True)
    counts = [len(lines_of(row, of)) for row in rows(kept=True)[: len(NAMES)]]
    assert min(counts) >= 2
    assert max(counts) <= 6
    assert sum(counts) / len(counts) < 4


def test_on_a_phone_a_mark_says_whether_the_plan_was_accepted_and_whether_it_changed_since() -> None:
    of = layout_of(45, accepted=True)
    said = {row.name: "\n".join(plain_lines(lines_of(row, of))) for row in rows(kept=True)}
    marks = {name: "(✓)" if "(✓)" in text else "✓" if "✓" in text else "" for name, text in said.items()}
    for row in rows(kept=True)[: len(NAMES)]:
        assert marks[row.name] == ("" if row.accepted == "not yet" else "✓")
    assert marks["hazel-08-with-a-very-long-name"] == "(✓)"
    head = " ".join(plain_lines(head_lines(of, "urgency")))
    assert "✓ accepted, (✓) changed" in head


@pytest.mark.parametrize("order", ORDERS)
def test_the_head_names_the_order(order) -> None:
    phone = " ".join(" ".join(plain_lines(head_lines(layout_of(45, accepted=True), order))).split())
    assert ORDER_WORDS[order].casefold() in phone.casefold()
    assert order_words(order) == ORDER_WORDS[order]
    wide = "\n".join(plain_lines(head_lines(layout_of(120, accepted=True), order)))
    assert wide.count("▾") == (0 if order in ("urgency", "due") else 1)


def test_acceptance_is_told_where_somebody_keeps_it() -> None:
    assert {row.accepted for row in rows()} == {""}
    assert {row.accepted for row in rows(kept=True)} == {"", "not yet", str(DAY), f"{DAY}, changed since"}


def test_the_last_day_is_that_of_what_cannot_be_made_up() -> None:
    found = {row.name: (row.last, row.last_what) for row in rows()}
    for name in NAMES:
        arrest = [s for s in plan(name).stages if s.kind == "contralateral_growth_arrest" and s.status != "optional"]
        ends = [(str(stage.window.latest), "Growth arrest") for stage in arrest if stage.window is not None]
        assert found[name] == (ends[0] if ends else ("", ""))


def test_most_urgent_first_is_the_order_of_the_days_that_are_shown() -> None:
    found = [row.days for row in in_order(rows(), "urgency") if not (row.days.stuck or row.days.waiting)]
    days = [min(day for day in (one.stage, one.last, one.coming) if day is not None) for one in found]
    assert days == sorted(days)


def test_a_search_looks_through_everything_that_a_row_shows() -> None:
    for row in rows(kept=True):
        shown = (row.age, row.diagnosis, row.following, row.when, row.last, row.needs, row.needs_by, row.difference)
        for fact in (row.name, row.accepted, row.last_what, *shown):
            assert row in matching(rows(kept=True), fact)


def test_what_is_overdue_or_not_saved_is_found_by_that_word() -> None:
    late = {**summaries()["oak-12"], "see_again_by": "2026-10-01"}
    found = summary_row("oak-12", late, DAY)
    assert found.overdue
    assert found.needs.startswith("Follow-up visit (overdue)")
    assert matching((found, *rows()), "overdue") == (found,)
    assert [row.name for row in matching(rows(), "not saved")] == ["hazel-08-with-a-very-long-name"]
    changed = replace(found, unsaved=True)
    assert matching((changed,), "overdue saved") == (changed,)


def test_a_search_without_a_hit_says_what_was_looked_through_and_what_to_do() -> None:
    assert no_match("x", "Do this.", accepted=True) == (
        "No child matches 'x'. Looked through: name, age, diagnosis, next stage, days, what to do, acceptance and "
        "difference of every child. Do this."
    )
    assert "acceptance" not in no_match("x", "", accepted=False)


@pytest.mark.parametrize("width", WIDTHS)
def test_what_is_due_is_told_item_by_item(width) -> None:
    of, found = layout_of(width, accepted=False), due_rows(summaries().items(), DAY, 3)
    longest = max(len(row.name) for row in found)
    assert [(row.by, row.name) for row in found] == sorted((row.by, row.name) for row in found)
    holds(due_head(of, longest), width)
    for row in found:
        lines = due_lines(row, of, longest)
        holds(lines, width)
        for fact in (row.by, row.name, row.what):
            assert fact.replace(" ", "") in told(lines)


def test_a_summary_kept_before_tells_its_last_day_too() -> None:
    old = summaries()["oak-12"]
    new = summary_row("oak-12", old, DAY)
    old = {key: value for key, value in old.items() if key not in ("last_days", "as_accepted", "close_call")}
    assert summary_row("oak-12", old, DAY).last == new.last != ""
