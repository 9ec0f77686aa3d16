"""Plans in the registry as a person types it: planned anew, who needs what, accepted, compared, followed up."""

from __future__ import annotations

import datetime
import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pathway.children.registry_storage import RegistryStorage
from pathway.cli.main import main
from pathway.cli.options import now
from pathway.protocol.load import load_protocol
from pathway.registry.store import open_registry
from pathway.views.words.children import in_order, summary_row

DAY = datetime.date(2026, 11, 25)
ON = ("--on", "2026-11-25")
LATER = ("--on", "2027-05-20")
EXAMPLES = Path(__file__).parents[2] / "example_patients"


@pytest.fixture
def clinic(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A registry of three children."""
    file = tmp_path / "clinic.db"
    monkeypatch.setenv("LIMB_PATHWAY_REGISTRY", str(file))
    cases = [str(EXAMPLES / f"{name}.toml") for name in ("rowan-02", "hazel-08", "oak-12")]
    assert run("registry", "import", *cases).exit_code == 0
    return file


def run(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


class TestReplan:
    def test_only_what_is_out_of_step_is_planned(self, clinic: Path) -> None:
        assert "Children planned: 3" in run("registry", "replan", *ON).stderr
        assert "Children planned: 0" in run("registry", "replan", *ON).stderr
        run("followup", "rowan-02", *LATER, "--set", "left.center_edge_angle_deg=26", "--save")
        assert "Children planned: 1" in run("registry", "replan", *ON).stderr

    def test_lists_answer_from_stored_plans(self, clinic: Path) -> None:
        assert "3 children have no plan up to date" in run("registry", "due", *ON).stderr
        run("registry", "replan", *ON)
        listed = run("registry", "list").stdout
        assert "Hip preparation on 2026-12-23" in listed

    def test_a_cluster_that_is_not_there_is_told(self, clinic: Path) -> None:
        result = run("registry", "replan", *ON, "--cluster", "tcp://127.0.0.1:1")
        assert result.exit_code == 2
        assert result.stderr.startswith("--cluster: found no")


class TestChildren:
    def test_without_a_case_the_children_of_the_registry_are_listed_as_its_screens_order_them(
        self, clinic: Path
    ) -> None:
        run("registry", "replan", *ON)
        named = run("children", *ON)
        assert "Children: 3, most urgent first" in named.stdout
        assert run("children", "--registry", str(clinic), *ON).stdout == named.stdout
        with open_registry(str(clinic)) as store:
            listed = RegistryStorage(store, "", now).listed(load_protocol(), DAY)
        rows = [summary_row(one.name, one.summary or {}, DAY, kept=True) for one in listed]
        wanted = [row.name for row in in_order(rows, "urgency")]
        assert sorted(wanted, key=named.stdout.index) == wanted
        assert "not accepted" in named.stdout, "the list says what the team accepted"

    def test_a_child_without_a_stored_plan_is_planned_for_the_list(self, clinic: Path) -> None:
        fresh = run("children", *ON)
        assert "3 children were planned for this list alone: `limb-pathway registry replan` keeps" in fresh.stderr
        run("registry", "replan", *ON)
        kept = run("children", *ON)
        assert "planned for this list" not in kept.stderr
        assert kept.stdout.splitlines()[-8:] == fresh.stdout.splitlines()[-8:]

    def test_json_holds_the_same_children(self, clinic: Path) -> None:
        data = json.loads(run("children", "--json", *ON).stdout)
        assert {child["name"] for child in data["children"]} == {"rowan-02", "hazel-08", "oak-12"}

    def test_an_id_in_capitals_is_told_as_it_is_kept(self, clinic: Path) -> None:
        result = run("plan", "Rowan-02", *ON)
        assert result.exit_code == 2
        assert "Rowan-02: found no file and no child of that name" in result.stderr
        assert "did you mean rowan-02, a child of the registry" in result.stderr


class TestDue:
    def test_by_child_each_child_stands_once_with_what_is_most_urgent_and_how_much_more(self, clinic: Path) -> None:
        run("registry", "replan", *ON)
        every = json.loads(run("registry", "due", *ON, "--json").stdout)["due"]
        lines = run("registry", "due", "--by-child", *ON).stdout.splitlines()
        first: dict[str, dict[str, str]] = {}
        for item in every:
            first.setdefault(item["child"], item)
        assert len(lines) == len(first) == 3
        for line, (child, item) in zip(lines, first.items(), strict=True):
            more = sum(one["child"] == child for one in every) - 1
            assert line.startswith(f"{item['by']}  {child}  {item['what']}")
            assert line.endswith(f"; {more} more")

    @pytest.mark.parametrize("option", [("--json",), ("--after", "2026-12-23/rowan-02/1")])
    def test_by_child_has_no_pages_and_no_json(self, clinic: Path, option: tuple[str, ...]) -> None:
        result = run("registry", "due", "--by-child", *option)
        assert result.exit_code == 2
        assert f"found --by-child with {option[0]}, expected one of the two" in result.stderr

    def test_everything_due_stands_in_the_plan(self, clinic: Path) -> None:
        run("registry", "replan", *ON)
        data = json.loads(run("registry", "due", *ON, "--months", "6", "--json").stdout)
        plan = json.loads(run("plan", "rowan-02", *ON, "--json").stdout)
        whats = {item["what"] for item in data["due"] if item["child"] == "rowan-02"}
        opens = {
            s["label"]
            for s in plan["stages"]
            if s["operation"] and s["date"] and s["window"]["earliest"] < "2027-05-26"
        }
        assert {f"window opens: {label}" for label in opens if label} <= whats
        assert "follow-up visit" in whats

    def test_a_missed_visit_is_overdue(self, clinic: Path) -> None:
        run("registry", "replan", *ON)
        data = json.loads(run("registry", "due", "--on", "2027-12-01", "--json").stdout)
        visits = [item for item in data["due"] if item["what"] == "follow-up visit"]
        assert len(visits) == 3
        assert all(item["overdue"] for item in visits)

    def test_the_last_useful_day_of_a_growth_arrest_is_named(self, clinic: Path) -> None:
        run("registry", "replan", *ON)
        text = run("registry", "due", "--on", "2028-05-25").stdout
        assert any("oak-12" in line and "last useful day: Growth arrest" in line for line in text.splitlines())


class TestRevisions:
    def test_a_plan_is_kept_whole_with_who_and_why(self, clinic: Path) -> None:
        assert run("accept", "rowan-02", *ON, "--by", "team").exit_code == 0
        data = json.loads(run("registry", "revisions", "rowan-02", "--json").stdout)
        assert [(one["number"], one["by"], one["on"]) for one in data] == [(1, "team", "2026-11-25")]

    def test_another_course_wants_a_reason_and_becomes_the_plan(self, clinic: Path) -> None:
        refused = run("accept", "rowan-02", *ON, "--course", "three_femoral")
        assert refused.exit_code == 2
        assert "expected why not the recommended course" in refused.stderr
        kept = run("accept", "rowan-02", *ON, "--course", "three_femoral", "--reason", "no operation on the well leg")
        assert kept.exit_code == 0
        exported = run("registry", "export", "rowan-02").stdout
        assert 'course = "three_femoral"' in exported
        unknown = run("accept", "rowan-02", *ON, "--course", "nine_femoral", "--reason", "x")
        assert unknown.exit_code == 2
        assert "expected one of" in unknown.stderr

    def test_two_revisions_are_compared_with_the_causes(self, clinic: Path) -> None:
        run("accept", "rowan-02", *ON)
        run("followup", "rowan-02", *LATER, "--set", "left.center_edge_angle_deg=26", "--save")
        run("accept", "rowan-02", *LATER)
        result = run("compare", "rowan-02@1", "rowan-02@2")
        assert result.exit_code == 0, result.output
        text = " ".join(result.stdout.split())
        assert "Because of centre-edge angle left 26 deg on 2027-05-20" in text
        assert "Because of the time that has passed" in text
        missing = run("compare", "rowan-02@1", "rowan-02@7")
        assert missing.exit_code == 2
        assert "found no revision rowan-02@7" in missing.stderr


class TestFollowup:
    def test_a_visit_becomes_an_entry_and_the_chain_holds(self, clinic: Path) -> None:
        result = run(
            "followup", "rowan-02", *LATER, "--set", "left.center_edge_angle_deg=26", "--save", "--by", "surgeon"
        )
        assert result.exit_code == 0, result.output
        assert "Saved as entry 2 of rowan-02" in result.stderr
        more = run("followup", "rowan-02", *LATER, "--set", "left.acetabular_index_deg=18", "--save")
        assert "Saved as entry 3 of rowan-02" in more.stderr
        exported = run("registry", "export", "rowan-02").stdout
        assert exported.count("2027-05-20") == 1
        assert "acetabular_index_deg = 18" in exported
        assert run("registry", "verify").exit_code == 0

    def test_discarding_keeps_nothing(self, clinic: Path) -> None:
        run("followup", "rowan-02", *LATER, "--set", "left.center_edge_angle_deg=26", "--discard")
        assert run("registry", "list").stdout.count("1 entry") == 3

    def test_a_child_that_is_not_kept_is_told(self, clinic: Path) -> None:
        result = run("followup", "nobody-01", *LATER, "--set", "left.center_edge_angle_deg=26")
        assert result.exit_code == 2
        assert "nobody-01" in result.stderr
        assert "Traceback" not in result.output

    def test_who_comes_second_is_told_and_nothing_is_overwritten(self, clinic: Path) -> None:
        from pathway.events import diff
        from pathway.protocol.load import load_protocol
        from pathway.registry.journal.entry import StaleHead
        from pathway.registry.planning import save_followup
        from pathway.registry.store import open_registry
        from tests.registry.test_replan import MOMENT, with_finding

        assert load_protocol()
        with open_registry(str(clinic)) as store:
            record, head = store.record_and_head("rowan-02")
            one, two = (
                with_finding(record, "center_edge_angle_deg", 26.0),
                with_finding(record, "acetabular_index_deg", 18.0),
            )
            save_followup(store, "rowan-02", diff(record, one), head, who="first", when=MOMENT)
            late = save_followup(store, "rowan-02", diff(record, two), head, who="second", when=MOMENT)
            assert isinstance(late, StaleHead)
            assert [entry.who for entry in late.since] == ["first"]
            assert store.record("rowan-02") != two

    def test_who_entered_it_is_kept_also_with_a_wish_of_the_family(self, clinic: Path) -> None:
        wish = ("--decline", "contralateral_growth_arrest", "--reason", 'said "no",\ntwice')
        result = run("followup", "rowan-02", *LATER, *wish, "--save", "--by", "surgeon")
        assert result.exit_code == 0, result.output
        history = json.loads(run("registry", "export", "rowan-02", "--history").stdout)
        assert history["entries"][-1]["who"] == "surgeon"
        assert history["entries"][-1]["payload"]["decision"]["by"] == "family"
        assert history["entries"][-1]["payload"]["decision"]["reason"] == 'said "no",\ntwice'
