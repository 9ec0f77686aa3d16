"""Own results on the screens: of a registry what the verb tells, of files that there is no registry to ask."""

from __future__ import annotations

from tests.plans import DAY, files
from tests.tui.registry_of import SIZE, at, open_rowan, registry, saved
from tests.tui.screens_of import settled, text_of, the_app, until
from tui.app import PathwayApp
from tui.screens.results import ResultsScreen
from tui.widgets.prose import Prose


def said(app: PathwayApp) -> str:
    assert isinstance(app.screen, ResultsScreen)
    return " ".join(" ".join(say.text for say in app.screen.query_one(Prose).said).split())


async def test_own_results_of_a_registry_are_those_of_the_verb(place, monkeypatch) -> None:
    monkeypatch.setenv("COLUMNS", "100")  # a runner of tests in parallel says 80, where cells of tables take two rows
    with at(place) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await pilot.press("a", "enter")
            await saved(pilot)
            await pilot.press("escape", "f6")
            await until(pilot, lambda: "Days from due to done" in said(app), "the results")
            shown = said(app)
    told = " ".join(registry(place, "results", "--on", str(DAY)).split())
    assert "2 children, 1 with an accepted plan, 1 accepted plan" in told
    assert shown.split("What was predicted", 1)[1] == told.split("What was predicted", 1)[1]


async def test_the_page_is_laid_out_anew_for_another_width(place) -> None:
    with at(place) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            await open_rowan(pilot)
            await pilot.press("a", "enter")
            await saved(pilot)
            await pilot.press("escape", "f6")
            await until(pilot, lambda: "Days from due to done" in said(app), "the results")
            await pilot.resize_terminal(60, 24)
            await settled(pilot)
            assert max(len(say.text) for say in app.screen.query_one(Prose).said if say.fixed) <= 58
            assert "Too few children" in said(app)


async def test_example_children_have_no_registry_and_it_is_said_how_to_have_one() -> None:
    app = the_app("rowan-02", {"rowan-02": files()["rowan-02"]})
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("escape", "f6")
        await settled(pilot)
        assert "limb-pathway registry import" in said(app)
        await pilot.press("escape")
        assert "Own results" not in text_of(app)
