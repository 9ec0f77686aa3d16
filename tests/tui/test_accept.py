"""Accepting a plan: by whom, why, what changed since the last one; what is kept of it, and where nothing can be."""

from __future__ import annotations

import datetime
from pathlib import Path

from pathway.children.file_storage import FileStorage
from pathway.children.registry_storage import RegistryStorage
from pathway.protocol.load import load_protocol
from pathway.questions.compare import differences
from pathway.registry.journal.fold import accepted_last, accepted_plans
from pathway.registry.journal.payloads import revision_of
from pathway.registry.planning import save_followup
from pathway.registry.store import open_registry
from pathway.views.words.caution import CAUTION
from tests.plans import DAY, files, record
from tests.sample import visit
from tests.tui.registry_of import SIZE, WHEN, at, enter_length, open_rowan, registry, saved, told
from tests.tui.screens_of import idle, settled, text_of, the_app, until
from tests.tui.test_followup import typed
from tui.app import PathwayApp
from tui.screens.accept import CHANGED_WHY, NEEDS_REASON, NEEDS_WHY, AcceptScreen
from tui.screens.reason import ReasonScreen
from tui.screens.timeline import TimelineScreen
from tui.widgets.frame import Notice
from tui.widgets.prose import Prose
from tui.widgets.who_and_why import WhoAndWhy

MOST_KEYS = 6


def screen(app: PathwayApp) -> AcceptScreen:
    assert isinstance(app.screen, AcceptScreen)
    return app.screen


def said(app: PathwayApp) -> str:
    """Return all that the screen says of the plan."""
    return "\n".join(say.text for say in screen(app).query_one("#plan", Prose).said)


async def test_the_team_accepts_the_plan_of_a_child_in_at_most_six_keys_from_the_list(place) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await settled(pilot)
            keys = ("enter", "a", "enter")  # rowan-02 is the more urgent of the two
            assert len(keys) <= MOST_KEYS
            await pilot.press(keys[0])
            await settled(pilot)
            assert isinstance(app.screen, TimelineScreen)
            assert "not yet accepted (a)" in text_of(app).split("\n")[0]
            await pilot.press(keys[1])
            assert CAUTION in text_of(app)
            assert screen(app).query_one(WhoAndWhy).who == "team"
            await pilot.press(keys[2])
            await saved(pilot)
            assert told(app) == ("Accepted by the team. Saved in clinic.db by ward-3: revision (entry 2 of rowan-02).")
            assert "accepted 2026-11-25" in text_of(app).split("\n")[0]
            plan = app.child_list["rowan-02"].plan
        kept = accepted_last(store.entries("rowan-02"))
        assert kept is not None
        assert plan is not None
        assert (kept.revision.accepted_by, kept.revision.reason, kept.entry.who) == ("team", "", "ward-3")
        assert kept.revision.plan["stages"] == plan.model_dump(mode="json")["stages"]
        assert len(kept.revision.plan["alternatives"]) > 1, "with the courses that it was compared with"
    assert "accepted by the team" in registry(place, "revisions", "rowan-02")
    assert "every hash matches" in registry(place, "verify")


async def test_what_is_accepted_is_told_with_its_days_and_with_what_is_not_known(place) -> None:
    with at(place) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await pilot.press("a")
            words = said(app)
            plan = app.child_list["rowan-02"].plan
            assert plan is not None
            assert plan.recommended is not None
            assert plan.recommended.summary.lower() in words.lower()
            for stage in plan.stages:
                if stage.date is not None and stage.operation and not stage.begun:
                    assert f"{stage.date}  {stage.label}" in words
            for question in plan.open_questions:
                assert f"{question.label}, by {question.by}" in words


async def test_a_plan_that_changed_says_what_changed_and_asks_for_the_reason_there(place) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await pilot.press("a", "enter")
            await saved(pilot)
            before = app.child_list["rowan-02"].plan
            await enter_length(pilot, "112")
            assert "accepted before (a)" in text_of(app).split("\n")[0]
            await pilot.press("a")
            now = app.child_list["rowan-02"].plan
            assert before is not None
            assert now is not None
            changes = differences(before, now)
            assert changes
            assert CHANGED_WHY in text_of(app)
            assert all(one.sentence in said(app) for one in changes)
            await until(pilot, lambda: screen(app).changed and screen(app).changed.entered, "the facts behind")  # type: ignore[union-attr]
            assert "length of the femur left 112 mm" in said(app)
            offered = screen(app).query_one(WhoAndWhy).offered
            assert offered.startswith("Follow-up entered: length of the femur left 112 mm")
            await pilot.press("enter")
            await saved(pilot)
            assert told(app).startswith("Accepted by the team. Saved in clinic.db by ward-3: visit, revision")
            assert not app.child_list["rowan-02"].unsaved
        plans = [one.revision for one in accepted_plans(store.entries("rowan-02"))]
        assert [one.reason for one in plans] == ["", offered]
        assert all(one.accepted for one in plans)
        assert store.record("rowan-02").visits[-1].measurements[0].value == 112.0


async def test_a_revision_without_a_known_fact_is_not_accepted_without_a_reason(place) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await pilot.press("a", "enter")
            await saved(pilot)
            await enter_length(pilot, "112")
            await pilot.press("a")
            screen(app).query_one(WhoAndWhy).offered = ""
            await pilot.press("enter")
            assert screen(app).query_one("#notice", Notice).words == NEEDS_REASON
            await typed(pilot, "slower growth")
            await pilot.press("f3", "enter")
            await saved(pilot)
        kept = accepted_last(store.entries("rowan-02"))
        assert kept is not None
        assert (kept.revision.reason, kept.revision.accepted_by) == ("slower growth", "family")


async def test_saving_keeps_a_plan_that_nobody_accepted(place) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await enter_length(pilot, "121")
            await pilot.press("ctrl+s")
            await saved(pilot)
            assert "not yet accepted (a)" in text_of(app).split("\n")[0]
        assert accepted_last(store.entries("rowan-02")) is None
    assert "plan kept with what was saved" in registry(place, "revisions", "rowan-02")


async def test_what_others_saved_meanwhile_is_read_before_anything_is_accepted(place) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            theirs = visit(DAY, {"left.femur_length_mm": 120.0})
            save_followup(store, "rowan-02", [theirs], store.head("rowan-02"), who="night shift", when=WHEN)
            await pilot.press("a", "enter")
            await saved(pilot)
            assert told(app).startswith("Not accepted: somebody else has saved in clinic.db in the meantime")
            assert "visit by night shift" in told(app)
            assert accepted_last(store.entries("rowan-02")) is None
            await pilot.press("a", "enter")
            await saved(pilot)
            assert told(app).startswith("Accepted by the team.")


async def test_who_decided_last_is_offered_next_and_the_team_at_first(place) -> None:
    with at(place) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await pilot.press("c")
            await settled(pilot)
            await pilot.press("right", "enter")
            assert isinstance(app.screen, ReasonScreen)
            assert app.screen.query_one(WhoAndWhy).who == "team"
            await pilot.press("f3")
            await typed(pilot, "least time in frames")
            await pilot.press("enter")
            await settled(pilot)
            await pilot.press("escape", "a")
            assert screen(app).query_one(WhoAndWhy).who == "family"
            assert "the family, who decided last on these screens (F3: the team)" in text_of(app)


def in_a_file(tmp_path: Path) -> tuple[PathwayApp, Path]:
    file = tmp_path / "rowan-02.toml"
    file.write_text(files()["rowan-02"], encoding="utf-8")
    storage = FileStorage({"rowan-02": file}, load_protocol(), DAY)
    return PathwayApp({"rowan-02": ""}, DAY, "rowan-02", storage=storage), file


async def test_a_case_file_keeps_the_accepted_course_as_a_decision_and_says_so(tmp_path) -> None:
    app, file = in_a_file(tmp_path)
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        plan = app.child_list["rowan-02"].plan
        assert plan is not None
        assert plan.recommended is not None
        await pilot.press("a")
        assert "holds what was found, done and decided, and no plans" in " ".join(text_of(app).split())
        await pilot.press("enter")
        assert screen(app).query_one("#notice", Notice).words == NEEDS_WHY
        await typed(pilot, "agreed at the visit")
        await pilot.press("enter")
        await saved(pilot)
        await until(pilot, lambda: not app.child_list["rowan-02"].unsaved, "the saved file")
    text = file.read_text(encoding="utf-8")
    assert f'course = "{plan.recommended.id}"' in text
    assert 'reason = "agreed at the visit"' in text
    assert 'by = "team"' in text


async def test_an_example_child_says_that_nothing_of_it_is_kept() -> None:
    app = the_app("rowan-02", {"rowan-02": files()["rowan-02"]})
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("a")
        assert "it is not kept" in " ".join(text_of(app).split())
        await pilot.press("enter")
        await idle(app)
        assert told(app).startswith("Not saved: these are example children")


async def test_nothing_is_accepted_while_the_plan_is_not_there(tmp_path) -> None:
    file = tmp_path / "ash-01.toml"
    file.write_text("schema_version = 1\n", encoding="utf-8")
    app = PathwayApp({"ash-01": file.read_text("utf-8")}, DAY, "ash-01")
    async with app.run_test(size=SIZE, notifications=True) as pilot:
        await settled(pilot)
        await pilot.press("a")
        await pilot.pause()
        assert isinstance(app.screen, TimelineScreen)
        assert "There is no plan of this child; its timeline says why." in " ".join(text_of(app).split())


def test_a_plan_kept_before_the_two_were_told_apart_counts_as_accepted() -> None:
    payload = {"plan": {}, "on": "2026-11-25", "protocol_version": "0.6.0", "recommended": True, "reason": ""}
    kept = revision_of(payload, 1)
    assert kept.accepted
    assert kept.accepted_by == ""


async def test_reopened_later_list_and_timeline_say_the_same_and_what_was_not_recorded_as_done(place) -> None:
    with at(place) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await pilot.press("a", "enter")
            await saved(pilot)
            plan = app.child_list["rowan-02"].plan
            assert plan is not None
            dated = {one.label: one.date for one in plan.stages if one.operation and not one.begun and one.date}
    label, day = min(dated.items(), key=lambda item: item[1])
    later = day + datetime.timedelta(days=10)
    with open_registry(str(place)) as store:
        app = PathwayApp({}, later, storage=RegistryStorage(store, "ward-3", lambda: WHEN))
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            assert f"accepted {WHEN.date()}" in text_of(app).split("\n")[0]
            (listed,) = app.child_list.found("rowan-02")
            assert listed.accepted.startswith(str(WHEN.date()))
            text = " ".join(text_of(app).split())
            assert f"PASSED Accepted: {label} for {day}" in text
            assert "not recorded as done" in text


async def test_opened_as_of_a_day_before_what_was_entered_the_title_says_so(place) -> None:
    with open_registry(str(place)) as store:
        last = max(visit.date for visit in record("rowan-02").visits)
        app = PathwayApp({}, last - datetime.timedelta(days=1), storage=RegistryStorage(store, "ward-3", lambda: WHEN))
        async with app.run_test(size=(160, 40)) as pilot:
            await open_rowan(pilot)
            assert f"later entries exist (last {last})" in text_of(app).split("\n")[0]
