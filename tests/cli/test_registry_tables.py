"""`registry import TABLE` and `registry table`: what is shown, what is asked, what is kept, and the exit codes."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pathway.cli.main import main
from pathway.cli.registry.children import DATE_ORDERS
from pathway.record import Record
from pathway.registry.store import open_registry
from pathway.tables.values import ORDERS
from pathway.views.words.caution import CAUTION
from tests.tables.reading import TABLES, values, wide
from tests.tables.workbooks import two_heading_rows

ON = ["--on", "2026-12-01"]
FEMUR = "femur left (mm)"


def run(*arguments: str | Path, answer: str | None = None) -> Result:
    runner = CliRunner(env={"COLUMNS": "80", "LOGNAME": "ward-3"})
    result = runner.invoke(main, ["registry", *(str(part) for part in arguments)], input=answer)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("LIMB_PATHWAY_REGISTRY", str(tmp_path / "registry.db"))
    monkeypatch.setenv("LIMB_PATHWAY_WORKSTATION", str(tmp_path / "workstation"))
    return tmp_path


def table(place: Path, text: str, name: str = "visits.csv") -> Path:
    file = place / name
    file.write_text(text, encoding="utf-8")
    return file


def kept(place: Path, child: str) -> Record:
    with open_registry(str(place / "registry.db")) as store:
        return store.record(child)


def children(place: Path) -> list[str]:
    with open_registry(str(place / "registry.db")) as store:
        return [line.child for line in store.children()]


def test_the_orders_that_can_be_said_are_those_that_are_known() -> None:
    assert DATE_ORDERS == ORDERS


class TestIn:
    """A table is shown, and kept after a yes."""

    def test_it_is_shown_how_the_table_is_read_and_what_each_child_gets(self, place: Path) -> None:
        result = run("import", TABLES / "german_wide.csv", *ON, answer="y\n")
        assert result.exit_code == 0, result.output
        lines = result.stdout.splitlines()
        assert '  "Femur links (cm)"        femur_length_mm, left, in cm' in lines
        assert '  Not read: "Bemerkung".' in lines
        assert "  Read with headings in row 3; dates as day-month-year; decimal comma." in lines
        assert '"Fibulahemimelie" is fibular_deficiency' in " ".join(result.stdout.split())
        assert "3 rows: 2 new children, 3 visits with 12 values to keep." in lines
        assert lines[-2:] == ["w-01: imported; entry 1.", "w-02: imported; entry 1."]
        assert "read as Windows-1252" in result.stderr
        assert len(values(kept(place, "w-01"))) == 8

    @pytest.mark.parametrize("answer", ["n\n", "\n", ""])
    def test_without_a_yes_nothing_is_kept_and_no_registry_is_made(self, place: Path, answer: str) -> None:
        result = run("import", table(place, wide(FEMUR, "250")), *ON, answer=answer)
        assert result.exit_code == 0
        assert "Nothing was imported." in result.stderr
        assert not (place / "registry.db").exists()

    def test_yes_can_be_said_beforehand_and_a_second_time_adds_and_asks_nothing(self, place: Path) -> None:
        file = table(place, wide(FEMUR, "250", "262"))
        assert run("import", file, "--yes", *ON).exit_code == 0
        again = run("import", file, *ON)
        assert again.exit_code == 0, again.output
        assert "  maple-9  nothing new; 2 values known already" in again.stdout
        assert "Import this?" not in again.output
        assert "2 rows: 1 child with nothing new." in again.stdout

    def test_new_visits_of_a_known_child_are_told_apart_from_more_of_a_known_visit(self, place: Path) -> None:
        assert run("import", table(place, wide(FEMUR, "250")), "--yes", *ON).exit_code == 0
        more = wide(FEMUR, "250", "262").replace(f'"{FEMUR}"', f'"{FEMUR}",tibia left (mm)')
        more = more.replace('"250"', '"250",200').replace('"262"', '"262",210')
        result = run("import", table(place, more), "--yes", *ON)
        said = " ".join(result.stdout.split())
        assert "maple-9 1 new visit and 1 known visit with more, 3 values; 1 value known already" in said
        assert "maple-9: values added; entry" in said
        assert len(values(kept(place, "maple-9"))) == 4

    def test_a_fault_keeps_everything_out_and_says_how_to_go_on(self, place: Path) -> None:
        file = table(place, wide(FEMUR, "250", "25").replace("maple-9", "maple-8", 1))
        result = run("import", file, "--yes", *ON)
        assert result.exit_code == 2
        assert (
            f'{file}, row 3, "{FEMUR}": found "25", expected 35 to 620 mm; did you mean 250: mm, not cm.'
            in result.stderr
        )
        assert (
            "1 fault, so nothing was imported, of the children without a fault neither; --rest imports those"
            in result.stderr
        )
        assert "2 rows: 1 new child, 1 visit with 1 value without a fault, not kept yet." in result.stdout
        assert not (place / "registry.db").exists()

    def test_the_children_without_a_fault_are_imported_where_that_is_wished(self, place: Path) -> None:
        file = table(place, wide(FEMUR, "250", "25").replace("maple-9", "maple-8", 1))
        result = run("import", file, "--rest", "--yes", *ON)
        assert result.exit_code == 0, result.output
        assert "Left out: maple-9." in result.stderr
        assert children(place) == ["maple-8"]

    def test_many_faults_are_cut_short(self, place: Path) -> None:
        rows = wide(FEMUR, *(f"unread {n}" for n in range(7))).splitlines()
        each = (
            row.replace("maple-9", f"maple-{n}").replace("unread", f"unread {n}") for n in range(7) for row in rows[1:]
        )
        result = run("import", table(place, "\n".join((rows[0], *each))), *ON)
        assert result.exit_code == 2
        assert result.stderr.count("expected a number") == 40
        assert "9 more faults are not shown." in result.stderr
        assert "49 faults, so nothing was imported" in result.stderr

    def test_an_open_order_of_dates_is_settled_by_an_option(self, place: Path) -> None:
        file = table(place, wide(FEMUR, "250").replace("2024-05-06", "05/06/2024"))
        result = run("import", file, "--yes", *ON)
        assert result.exit_code == 2
        assert '"date" has no date that settles the order of day and month.' in result.stderr
        assert "say which: --date-order day-month-year or --date-order month-day-year" in result.stderr
        result = run("import", file, "--yes", "--date-order", "month-day-year", *ON)
        assert result.exit_code == 0, result.output
        assert "settles" not in result.stderr
        assert str(kept(place, "maple-9").visits[0].date) == "2024-05-06"

    def test_the_guess_is_written_corrected_and_read(self, place: Path) -> None:
        file = table(place, wide("girth of the thigh left", "25,3").replace("standing_full_length_film", "XR"))
        mapping = place / "mapping.toml"
        result = run("import", file, "--write-mapping", mapping, *ON)
        assert result.exit_code == 0, result.output
        assert "Nothing was imported." in result.stderr
        text = mapping.read_text("utf-8")
        assert mapping.stat().st_mode & 0o777 == 0o600
        assert "# Open when this was written:" in text
        fixed = text.replace(
            '"girth of the thigh left" = "skip"',
            '"girth of the thigh left" = { finding = "femur_length_mm", side = "left", unit = "cm" }',
        )
        fixed = fixed.replace("\n[words.methods]", '\n[words.methods]\nXR = "ct_scout"')
        mapping.write_text(fixed, encoding="utf-8")
        result = run("import", file, "--mapping", mapping, "--yes", *ON)
        assert result.exit_code == 0, result.output
        assert list(values(kept(place, "maple-9")).values()) == [(253, "ct_scout")]

    def test_a_mapping_is_written_over_nothing(self, place: Path) -> None:
        file, mapping = table(place, wide(FEMUR, "250")), place / "mapping.toml"
        assert run("import", file, "--write-mapping", mapping, *ON).exit_code == 0
        before = mapping.read_bytes()
        result = run("import", file, "--write-mapping", mapping, *ON)
        assert result.exit_code == 2
        assert "found an existing file, expected a new name" in result.stderr
        assert mapping.read_bytes() == before
        assert run("import", file, "--write-mapping", file, *ON).exit_code == 2
        assert file.read_text("utf-8") == wide(FEMUR, "250")

    def test_a_slip_in_the_mapping_is_told_with_its_line(self, place: Path) -> None:
        mapping = table(place, '[columns]\nid = "chid"\n', "mapping.toml")
        result = run("import", table(place, wide(FEMUR, "250")), "--mapping", mapping, *ON)
        assert result.exit_code == 2
        assert f'{mapping}, line 2, columns.id: found "chid"' in result.stderr

    def test_how_was_measured_can_be_said_for_the_whole_table(self, place: Path) -> None:
        file = table(place, wide(FEMUR, "250").replace("standing_full_length_film", ""))
        assert run("import", file, "--method", "tape", "--yes", *ON).exit_code == 0
        assert list(values(kept(place, "maple-9")).values()) == [(250, "tape")]
        result = run("import", file, "--method", "tapes", *ON)
        assert result.exit_code == 2
        assert "--method: found 'tapes', expected one of" in result.stderr

    def test_a_workbook_comes_in_like_a_csv(self, place: Path) -> None:
        pytest.importorskip("openpyxl", reason="the extra xlsx is not installed here")
        file = place / "visits.xlsx"
        file.write_bytes(two_heading_rows())
        result = run("import", file, "--yes", *ON)
        assert result.exit_code == 0, result.output
        assert 'The sheet "Visits" is read.' in result.stderr
        assert len(values(kept(place, "glen-3"))) == 8

    @pytest.mark.parametrize(
        ("more", "said"),
        [
            (["rowan-02"], "found a table beside other files"),
            (["--child", "maple-9"], "found --child or --replace with a table"),
            (["--replace"], "found --child or --replace with a table"),
        ],
    )
    def test_what_does_not_go_with_a_table_is_refused(self, place: Path, more: list[str], said: str) -> None:
        result = run("import", table(place, wide(FEMUR, "250")), *more, *ON)
        assert result.exit_code == 2
        assert said in result.stderr

    @pytest.mark.parametrize("option", [["--yes"], ["--date-order", "day-month-year"], ["--mapping", "m.toml"]])
    def test_what_goes_with_a_table_alone_is_refused_without_one(self, place: Path, option: list[str]) -> None:
        result = run("import", "rowan-02", *option)
        assert result.exit_code == 2
        assert "expected them with a table" in result.stderr

    @pytest.mark.parametrize("name", ["none.csv", "old.xls"])
    def test_a_file_that_is_no_table_is_refused(self, place: Path, name: str) -> None:
        result = run("import", place / name, *ON)
        assert result.exit_code == 2
        assert str(place / name) in result.stderr


class TestOut:
    """The registry as tidy tables."""

    @pytest.fixture
    def filled(self, place: Path) -> Path:
        assert run("import", "rowan-02", "hazel-08", *ON).exit_code == 0
        return place

    @pytest.mark.parametrize("kind", ["visits", "stages", "revisions", "outcomes"])
    def test_without_a_file_it_is_printed_as_csv_with_the_caution_beside_it(self, filled: Path, kind: str) -> None:
        result = run("table", kind, *ON)
        assert result.exit_code == 0, result.output
        head = next(csv.reader(io.StringIO(result.stdout)))
        assert head[:2] == ["child", "sex"]
        assert "date" not in head
        assert "date_of_birth" not in head
        assert CAUTION in result.stderr

    def test_a_file_has_its_dictionary_beside_it(self, filled: Path) -> None:
        result = run("table", "visits", "-o", filled / "visits.csv", *ON)
        assert result.exit_code == 0, result.output
        schema = json.loads((filled / "visits.schema.json").read_text("utf-8"))
        rows = list(csv.reader(io.StringIO((filled / "visits.csv").read_text("utf-8"))))
        assert rows[0] == [field["name"] for field in schema["fields"]]
        assert f"({len(rows) - 1} rows)" in result.stderr
        assert "2024-03-14" not in (filled / "visits.csv").read_text("utf-8")

    def test_both_forms_share_one_dictionary(self, filled: Path) -> None:
        pytest.importorskip("pyarrow", reason="the extra parquet is not installed here")
        assert run("table", "visits", "-o", filled / "visits.csv", *ON).exit_code == 0
        assert run("table", "visits", "-o", filled / "visits.parquet", *ON).exit_code == 0
        result = run("table", "stages", "-o", filled / "visits.parquet", *ON)
        assert result.exit_code == 2
        other = run("table", "visits", "--dates", "-o", filled / "other.csv", *ON)
        assert other.exit_code == 0
        clash = run("table", "stages", "-o", filled / "other.parquet", *ON)
        assert clash.exit_code == 2
        assert not (filled / "other.parquet").exists()

    def test_visits_with_dates_come_back_in_and_add_nothing(self, filled: Path) -> None:
        assert run("table", "visits", "--dates", "-o", filled / "visits.csv", *ON).exit_code == 0
        result = run("import", filled / "visits.csv", *ON)
        assert result.exit_code == 0, result.output
        assert "2 children with nothing new" in result.stdout

    def test_visits_in_parquet_are_read_back_like_those_in_csv(self, filled: Path, tmp_path: Path) -> None:
        pytest.importorskip("pyarrow", reason="the extra parquet is not installed here")
        assert run("table", "visits", "--dates", "-o", filled / "visits.parquet", *ON).exit_code == 0
        known = run("import", filled / "visits.parquet", *ON)
        assert known.exit_code == 0, known.output
        assert "2 children with nothing new" in " ".join(known.stdout.split())
        other = ["--registry", str(tmp_path / "other.db")]
        fresh = run("import", filled / "visits.parquet", "--yes", *ON, *other)
        assert fresh.exit_code == 0, fresh.output
        with open_registry(str(tmp_path / "other.db")) as store:
            assert values(store.record("rowan-02")) == values(kept(filled, "rowan-02"))

    def test_what_only_ends_like_parquet_is_refused(self, place: Path) -> None:
        pytest.importorskip("pyarrow", reason="the extra parquet is not installed here")
        result = run("import", table(place, "child,date", "visits.parquet"), *ON)
        assert result.exit_code == 2
        assert "found no Parquet file that can be read" in result.stderr

    @pytest.mark.parametrize(
        ("kind", "why"),
        [
            ("stages", "stages to come are those of accepted plans, so that only what was done stands here"),
            ("revisions", "revisions are accepted plans, so that there are none"),
        ],
    )
    def test_without_an_accepted_plan_it_is_said_why_nothing_to_come_is_there(
        self, filled: Path, kind: str, why: str
    ) -> None:
        said = run("table", kind, *ON).stderr
        assert f"No plan is accepted yet: {why}. To have them, accept one with `limb-pathway registry accept`." in said
        assert "No plan is accepted" not in run("table", "visits", *ON).stderr

    def test_visits_without_dates_are_refused_with_what_is_missing(self, filled: Path) -> None:
        assert run("table", "visits", "-o", filled / "visits.csv", *ON).exit_code == 0
        result = run("import", filled / "visits.csv", *ON)
        assert result.exit_code == 2
        assert "found no column with the day of each visit" in result.stderr
        assert "this table was written without --dates: write it again with --dates" in result.stderr

    def test_another_ending_is_refused(self, filled: Path) -> None:
        result = run("table", "visits", "-o", filled / "visits.xlsx", *ON)
        assert result.exit_code == 2
        assert "expected a name that ends with .csv or .parquet" in result.stderr

    def test_without_the_extra_parquet_is_refused_before_anything_is_read(self, filled: Path, monkeypatch) -> None:
        monkeypatch.setattr("pathway.files.parquet.importlib.util.find_spec", lambda name: None)
        result = run("table", "visits", "-o", filled / "visits.parquet", *ON)
        assert result.exit_code == 2
        assert "install limb-pathway[parquet], or name a file that ends with .csv" in result.stderr

    def test_an_erased_child_is_in_no_table(self, filled: Path) -> None:
        assert run("erase", "rowan-02", "--reason", "asked", "--yes").exit_code == 0
        result = run("table", "visits", *ON)
        assert {row[0] for row in csv.reader(io.StringIO(result.stdout))} == {"child", "hazel-08"}
