"""Two of the three stories from start to saved revision: the team plans, the family reviews.

The third, the surgeon updates the plan, is in `test_saving.py`.
"""

from __future__ import annotations

import re

from pathway.registry.journal.fold import accepted_plans
from pathway.views.words.caution import CAUTION
from tests.tui.registry_of import SIZE, at, open_rowan, registry, saved, told
from tests.tui.screens_of import settled, text_of
from tests.tui.test_followup import typed
from tui.screens.courses import CoursesScreen
from tui.screens.details import DetailsScreen
from tui.screens.family import FamilyScreen
from tui.screens.prerequisites import PrerequisitesScreen
from tui.screens.reason import ReasonScreen
from tui.screens.sources import SourcesScreen
from tui.screens.timeline import TimelineScreen
from tui.screens.what_if import WhatIfScreen
from tui.screens.worksheet import WorksheetScreen

NO_ARREST = "three femoral lengthenings, no growth arrest"


async def test_the_team_plans_looks_behind_it_chooses_another_course_and_saves(place) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            assert re.search(r"Femoral lengthening 2 .* 2032-09-13  5\.0 cm", text_of(app))
            await pilot.press("b")
            assert isinstance(app.screen, PrerequisitesScreen)
            assert "required: active infection no" in text_of(app)
            await pilot.press("enter")
            assert isinstance(app.screen, DetailsScreen)
            await pilot.press("w")
            assert isinstance(app.screen, SourcesScreen)
            await pilot.press("escape", "escape", "escape")
            assert isinstance(app.screen, TimelineScreen)
            await pilot.press("down", "s")
            await settled(pilot)
            assert isinstance(app.screen, WorksheetScreen)
            assert CAUTION in text_of(app)
            alone = app.child_list["rowan-02"].plan
            assert alone is not None
            assert len(alone.alternatives) == 1
            await pilot.press("escape", "c")
            await settled(pilot)
            assert isinstance(app.screen, CoursesScreen)
            assert len(app.screen.shown) > 3
            assert app.screen.shown[0] == alone.recommended
            for _ in range(8):
                await pilot.press("right")
                chosen = app.screen.chosen
                assert chosen is not None
                if chosen.summary == NO_ARREST:
                    break
            assert chosen.summary == NO_ARREST
            await pilot.press("enter")
            assert isinstance(app.screen, ReasonScreen)
            await pilot.press("enter")
            assert "A decision needs a reason" in " ".join(text_of(app).split())
            await typed(pilot, "adult height matters most")
            await pilot.press("enter")
            await settled(pilot)
            plan = app.child_list["rowan-02"].plan
            assert plan is not None
            assert plan.recommended is not None
            assert plan.recommended.summary == NO_ARREST
            await pilot.press("ctrl+s")
            await saved(pilot)
            assert told(app) == "Saved in clinic.db by ward-3: decision, revision (entries 2 to 3 of rowan-02)."
        decision = store.record("rowan-02").decisions[-1]
        assert (decision.by, decision.reason) == ("team", "adult height matters most")
        (revision,) = [one.revision for one in accepted_plans(store.entries("rowan-02"))]
        assert [course["summary"] for course in revision.plan["alternatives"] if course["recommended"]] == [NO_ARREST]
    assert "every hash matches" in registry(place, "verify")


async def test_the_family_reads_compares_wishes_changes_its_mind_and_saves(place) -> None:
    with at(place) as (app, store):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await pilot.press("f")
            assert isinstance(app.screen, FamilyScreen)
            words = text_of(app)
            assert "The difference: The left leg is 8.0 cm shorter" in " ".join(words.split())
            for code in ("femoral_lengthening", "gate", "mLDFA", "NSA"):
                assert code not in words
            await pilot.press("c", "i")
            await settled(pilot)
            assert isinstance(app.screen, WhatIfScreen)
            await typed(pilot, "2")
            await settled(pilot)
            await pilot.press("f5")
            assert isinstance(app.screen, ReasonScreen)
            await pilot.press("f3")
            await typed(pilot, "two are enough for us")
            await pilot.press("enter")
            await settled(pilot)
            first = app.child_list["rowan-02"].session
            assert first is not None
            assert [one.reason for one in first.record.decisions] == ["two are enough for us"]
            await pilot.press("ctrl+z")
            await settled(pilot)
            back = app.child_list["rowan-02"].session
            assert back is not None
            assert back.record.decisions == ()
            await pilot.press("ctrl+y")
            await settled(pilot)
            await pilot.press("ctrl+s")
            await saved(pilot)
            assert told(app).startswith("Saved in clinic.db by ward-3: decision, revision")
        (decision,) = store.record("rowan-02").decisions
        assert (decision.by, decision.reason) == ("family", "two are enough for us")
        assert len(accepted_plans(store.entries("rowan-02"))) == 1
    assert "every hash matches" in registry(place, "verify")
