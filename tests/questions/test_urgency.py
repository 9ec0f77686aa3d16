"""In which order a list of children is read."""

from __future__ import annotations

import datetime

import pytest

from pathway.questions.urgency import ORDERS, Days, Order, sort_key

TODAY = datetime.date(2026, 11, 25)


def day(ahead: int) -> datetime.date:
    return TODAY + datetime.timedelta(days=ahead)


def ordered(order: Order, children: dict[str, Days]) -> list[str]:
    return sorted(children, key=lambda name: sort_key(order, children[name], name))


def test_who_cannot_be_planned_comes_first_then_what_is_overdue_the_longest_first() -> None:
    children = {
        "a": Days(stage=day(1)),
        "b": Days(overdue=day(-5), stage=day(900)),
        "c": Days(overdue=day(-50)),
        "d": Days(stuck=True),
        "e": Days(waiting=True),
        "f": Days(),
    }
    assert ordered("urgency", children) == ["d", "c", "b", "a", "f", "e"]


def test_then_the_soonest_day_whether_stage_last_day_or_something_due() -> None:
    children = {
        "stage": Days(stage=day(30)),
        "last": Days(stage=day(300), last=day(20)),
        "due": Days(stage=day(300), coming=day(25), due=TODAY),
    }
    assert ordered("urgency", children) == ["last", "due", "stage"]


def test_what_is_asked_for_today_orders_nobody_who_has_another_day() -> None:
    asked = Days(stage=day(400), due=TODAY)
    assert ordered("urgency", {"a": asked, "b": Days(stage=day(30))}) == ["b", "a"]
    assert ordered("urgency", {"a": Days(stage=day(30)), "b": Days(due=TODAY)}) == ["b", "a"]


def test_on_the_same_day_the_nearer_last_day_comes_first_then_the_name() -> None:
    children = {
        "a": Days(stage=day(30)),
        "b": Days(stage=day(30), last=day(900)),
        "c": Days(stage=day(30), last=day(90)),
        "d": Days(stage=day(30), last=day(90)),
    }
    assert ordered("urgency", children) == ["c", "d", "b", "a"]


@pytest.mark.parametrize(
    ("order", "first"),
    [("stage", "a"), ("last", "b"), ("due", "c"), ("name", "a")],
)
def test_the_other_orders_go_by_their_day_and_put_those_without_it_last(order, first) -> None:
    children = {
        "z": Days(),
        "a": Days(stage=day(1)),
        "b": Days(stage=day(2), last=day(9)),
        "c": Days(stage=day(3), last=day(10), due=day(4)),
    }
    found = ordered(order, children)
    assert (found[0], found[-1]) == (first, "z")


def test_what_is_overdue_leads_what_is_due_first() -> None:
    assert ordered("due", {"a": Days(due=TODAY), "b": Days(due=day(9), overdue=day(-3))}) == ["b", "a"]


def test_every_order_has_a_key() -> None:
    assert all(sort_key(order, Days(), "a") for order in ORDERS)
