"""The list of children: its order, its search, what is due, acceptance, every width; long lists stay quick."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import replace

import pytest

from pathway.children.registry_storage import RegistryStorage
from pathway.children.storage import Listed
from pathway.questions.due import plan_summary
from pathway.questions.urgency import ORDERS
from pathway.registry.exchange import import_record
from pathway.registry.store import open_registry
from pathway.views.words.caution import CAUTION
from pathway.views.words.children import ORDER_WORDS, summary_row
from tests.plans import DAY, files, plan, record, rules
from tests.sample import visit
from tests.tui.registry_of import SIZE, WHEN, at, enter_length, open_rowan, registry, saved
from tests.tui.screens_of import settled, text_of, the_app
from tui.app import PathwayApp
from tui.opened import row
from tui.planner import make
from tui.screens.timeline import TimelineScreen
from tui.widgets.child_table import ChildTable


def table_of(app: PathwayApp) -> ChildTable:
    return app.screen.query_one(ChildTable)


def names_of(app: PathwayApp) -> list[str]:
    return [one.name for one in table_of(app).rows]


async def test_children_with_a_plan_kept_are_listed_at_once_and_planned_when_opened(place) -> None:
    registry(place, "replan", "--on", str(DAY))
    with at(place) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            await settled(pilot)
            assert all(entry.plan is None and not entry.problems for entry in app.child_list.entries)
            before = row(app.child_list["rowan-02"])
            assert (before.name, before.age, before.accepted) == ("rowan-02", "2 y 8 m", "not yet")
            await open_rowan(pilot)
            assert app.child_list["rowan-02"].plan is not None
            assert app.child_list["oak-12"].plan is None
            await pilot.press("escape")
            await pilot.pause()
            assert row(app.child_list["rowan-02"]) == before


async def test_what_is_due_is_listed_as_the_verb_lists_it(place) -> None:
    registry(place, "replan", "--on", str(DAY))
    printed = registry(place, "due", "--on", str(DAY)).split("\n")
    with at(place) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            await settled(pilot)
            await pilot.press("f3")
            rows = app.screen.query_one(ChildTable).rows
            assert [f"{one.by}  {one.name}  {one.what}" for one in rows] == [
                text for text in printed if text[:2] == "20"
            ]
            assert f"What is due in 3 months: {len(rows)}" in text_of(app)
            await pilot.press("f4")
            by_name = app.screen.query_one(ChildTable).rows
            assert [one.name for one in by_name] == sorted(one.name for one in rows)
            assert sorted(by_name, key=lambda one: (one.by, one.name, one.what)) == list(rows)
            await pilot.press("f4", *"rowan")
            assert {one.name for one in app.screen.query_one(ChildTable).rows} == {"rowan-02"}
            await pilot.press("f3")
            assert app.screen.query_one(ChildTable).chosen == "rowan-02"
            assert "Next stage" in text_of(app)


async def test_who_is_overdue_comes_first_until_another_order_is_chosen(place) -> None:
    with open_registry(str(place)) as store:
        first_seen = record("oak-12").until(datetime.date(2025, 1, 1))
        child = first_seen.child.model_copy(update={"id": "zelkova-01"})
        old = visit(datetime.date(2024, 5, 1), {"right.femur_length_mm": 300.0})
        import_record(store, first_seen.model_copy(update={"child": child, "visits": (old,)}), who="x", when=WHEN)
    with at(place) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            await settled(pilot)
            table = app.screen.query_one(ChildTable)
            assert "most urgent first" in text_of(app)
            assert table.rows[0].name == "zelkova-01"
            assert "(overdue)" in text_of(app)
            orders = []
            for _ in ORDERS:
                await pilot.press("f4")
                orders.append([one.name for one in table.rows])
                assert ORDER_WORDS[app.screen.order] in text_of(app)
            assert orders[ORDERS.index("name") - 1] == ["oak-12", "rowan-02", "zelkova-01"]
            assert orders[ORDERS.index("last") - 1][:2] == ["oak-12", "rowan-02"]
            assert orders[-1][0] == "zelkova-01"


async def test_the_list_says_whether_the_plan_was_accepted_and_changed_since(place) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            assert row(app.child_list["rowan-02"]).accepted == "not yet"
            await enter_length(pilot, "121")
            await pilot.press("ctrl+s")
            await saved(pilot)
            assert row(app.child_list["rowan-02"]).accepted == "not yet", "it was saved, and accepted by nobody"
            await pilot.press("a", "enter")
            await saved(pilot)
            assert row(app.child_list["rowan-02"]).accepted == str(WHEN.date())
        earlier = RegistryStorage(store, "ward-3", lambda: WHEN)
        earlier.read("rowan-02")
        other = replace(earlier.earlier("rowan-02")[0], amount_mm=1.0)
        of = app.child_list["rowan-02"]
        changed = plan_summary(of.plan, of.session.record, app.rules, (other,))
        assert summary_row("rowan-02", changed, DAY, accepted=DAY, kept=True).accepted == f"{DAY}, changed since"
        store.drop_stored_plans()
    with at(place) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            await settled(pilot)
            assert row(app.child_list["rowan-02"]).accepted == str(WHEN.date()), "also where no plan is stored"
            assert row(app.child_list["oak-12"]).accepted == "not yet"


async def test_a_child_accepted_before_says_so_also_where_it_had_to_be_planned_anew(place) -> None:
    with at(place) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await pilot.press("a", "enter")
            await saved(pilot)
    with at(place) as (app, _):
        app.on = DAY + datetime.timedelta(days=400)  # the plan stored for that day holds no more
        async with app.run_test(size=SIZE) as pilot:
            await settled(pilot)
            assert row(app.child_list["rowan-02"]).accepted.startswith(str(WHEN.date()))


@pytest.mark.parametrize("width", [40, 50, 59, 60, 80, 96, 120, 150, 200])
async def test_at_every_width_nothing_of_a_child_is_cut_and_the_caution_stands_once(width) -> None:
    app = the_app()
    async with app.run_test(size=(width, 60)) as pilot:
        await settled(pilot)
        seen = set()
        for _ in app.child_list.entries:
            said, name = text_of(app), table_of(app).chosen
            assert "…" not in said
            one = row(app.child_list[name])
            assert all(fact in said for fact in (one.name, one.age, one.when, one.last, one.needs_by))
            seen.add(name)
            await pilot.press("down")
        assert seen == {entry.name for entry in app.child_list.entries}
        words = " ".join(said.split())
        assert words.count(" ".join(CAUTION.split())) == 1
        assert words.count("Invented children: no real patients.") == 1


async def test_a_click_on_a_head_orders_by_it_and_again_by_urgency() -> None:
    app = the_app()
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        at_first = names_of(app)
        head = next(line for line in text_of(app).split("\n") if "Last day" in line)
        await pilot.click(ChildTable, offset=(head.index("Last day"), 0))
        await pilot.pause()
        days = [one.last or "9999" for one in table_of(app).rows]
        assert days == sorted(days)
        assert "by the last day" in text_of(app)
        assert "Last day ▾" in text_of(app)
        await pilot.click(ChildTable, offset=(head.index("Last day"), 0))
        await pilot.pause()
        assert names_of(app) == at_first


async def test_a_click_on_a_child_opens_it() -> None:
    app = the_app()
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        line = next(number for number, text in enumerate(text_of(app).split("\n")) if "hazel-08" in text)
        await pilot.click(offset=(10, line + 1))
        await pilot.pause()
        assert isinstance(app.screen, TimelineScreen)
        assert app.screen.child == "hazel-08"


async def test_a_search_that_finds_nobody_says_what_was_searched_and_how_to_clear_it() -> None:
    app = the_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await settled(pilot)
        await pilot.press(*"zzz")
        said = " ".join(text_of(app).split())
        assert "No child matches 'zzz'. Looked through: name, age, diagnosis, next stage, days" in said
        assert "Escape clears the search." in said
        await pilot.press("escape")
        assert len(names_of(app)) == len(app.child_list.entries)


async def test_the_cursor_stands_on_the_most_urgent_until_a_child_is_chosen_and_then_stays_with_it() -> None:
    app = the_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await settled(pilot)
        assert table_of(app).chosen == names_of(app)[0]
        await pilot.press("down", "down")
        chosen = table_of(app).chosen
        app.show(None)
        await pilot.pause()
        assert table_of(app).chosen == chosen == names_of(app)[2]
        await pilot.press("enter", "escape")
        assert table_of(app).chosen == chosen


FEW = {name: files()[name] for name in ("ash-01", "hazel-08", "oak-12", "rowan-02")}


def planned_by_hand(app: PathwayApp, monkeypatch) -> Callable[[str], None]:
    """Let no plan arrive by itself; return what lets that of a child arrive."""
    monkeypatch.setattr(type(app), "_plan", lambda *_: None)

    def arrive(name: str) -> None:
        made = make(name, files()[name], DAY)
        app.on_pathway_app_planned(PathwayApp.Planned(name, made))

    return arrive


async def test_as_plans_arrive_the_cursor_stays_with_the_child_one_is_at_and_enter_opens_it(monkeypatch) -> None:
    app = the_app(case_files=FEW)
    arrive = planned_by_hand(app, monkeypatch)
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.pause()
        await pilot.press("down", "down")
        chosen = table_of(app).chosen
        before = names_of(app)
        for name in ("rowan-02", "hazel-08", "ash-01"):
            arrive(name)
            await pilot.pause()
            assert table_of(app).chosen == chosen
        assert names_of(app) != before, "the order did change"
        await pilot.press("enter")
        assert app.screen.child == chosen


@pytest.mark.parametrize("key", ["a", "f4"])
async def test_after_a_search_or_another_order_the_cursor_stays_too(monkeypatch, key) -> None:
    app = the_app(case_files=FEW)
    arrive = planned_by_hand(app, monkeypatch)
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.pause()
        await pilot.press(key)
        chosen = table_of(app).chosen
        arrive("rowan-02")
        arrive("oak-12")
        await pilot.pause()
        assert table_of(app).chosen == chosen


async def test_enter_opens_the_child_that_was_seen_under_the_cursor_where_the_list_changed_at_that_moment() -> None:
    app = the_app(case_files=FEW)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        table = table_of(app)
        seen, rows = table.chosen, table.rows
        table.show(rows[::-1], "urgency", 0, accepted=False, by_itself=True)
        assert table.chosen != seen == table.as_seen
        table.move(1)
        assert table.as_seen == table.chosen
        table.show(rows, "urgency", 0, accepted=False, by_itself=True)
        await pilot.pause()
        assert table.as_seen == table.chosen == rows[0].name


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
async def test_the_title_says_how_far_planning_is_until_it_is_done(monkeypatch, size) -> None:
    app = the_app(case_files=FEW)
    arrive = planned_by_hand(app, monkeypatch)
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        assert "planning 1 of 4 …" in text_of(app).split("\n")[0]
        arrive("rowan-02")
        await pilot.pause()
        assert "planning 2 of 4 …" in text_of(app).split("\n")[0]
        for name in FEW:
            arrive(name)
        await pilot.pause()
        assert "planning" not in text_of(app).split("\n")[0]


class Many:
    """A place with very many children, none of whom was read."""

    place = "many.db"

    def __init__(self, count: int) -> None:
        summary = plan_summary(plan("rowan-02"), record("rowan-02"), rules())
        self.found = tuple(Listed(f"child-{number:05}", summary) for number in range(count))

    def listed(self, protocol: object, on: datetime.date) -> tuple[Listed, ...]:
        return self.found


async def test_of_ten_thousand_children_only_those_that_are_seen_are_laid_out_and_none_is_planned() -> None:
    app = PathwayApp({}, DAY, storage=Many(10_000))  # type: ignore[arg-type]
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        table = table_of(app)
        assert len(table.rows) == 10_000
        assert len(table._laid) < 40
        await pilot.press("pagedown", "pagedown", "pagedown")
        assert table.chosen == "child-00024"
        assert "child-00024" in text_of(app)
        await pilot.press(*"child-09999")
        assert [one.name for one in table.rows] == ["child-09999"]
        assert all(entry.session is None for entry in app.child_list.entries)
