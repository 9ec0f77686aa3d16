"""Public holidays as a clinic's rules: read back by the rules, kept to by the calendar, beside what was closed."""

from __future__ import annotations

import datetime
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pathway.cli.main import main
from pathway.protocol.load import load_protocol
from pathway.timing.calendar import calendar_of, free_day
from pathway.views.rules.public_holidays import holidays_overlay
from tests.sample import five_year_old

library = pytest.importorskip("holidays", reason="the extra calendar is not installed here")
DAYS = {datetime.date(2027, 12, 27): 'A day in "quotes" \\ with a slash', datetime.date(2027, 5, 17): "Whit Monday"}
CLOSED = '[calendar]\nid = "clinic_calendar"\nblocked = [{ reason = "theatre", from = 2027-05-03, to = 2027-05-07 }]\n'
CLOSED += 'because = "Repairs."\nprovenance = "practice"\nsources = ["common_practice"]\n'


def run(*words: str) -> Result:
    return CliRunner().invoke(main, ["rules", "holidays", *words])


def laid_over(folder: Path, text: str):
    folder.mkdir(exist_ok=True)
    (folder / "holidays.toml").write_text(text, encoding="utf-8")
    return load_protocol(folder)


def test_the_file_is_read_back_day_by_day_in_order(tmp_path: Path) -> None:
    text = holidays_overlay(load_protocol().clinic_calendar, DAYS, "Ruritania", "a list 1.0")
    calendar = laid_over(tmp_path, text).clinic_calendar
    assert [(one.from_date, one.to_date, one.reason) for one in calendar.blocked] == [
        (day, day, DAYS[day]) for day in sorted(DAYS)
    ]
    assert "Ruritania (2027 to 2027, as listed by a list 1.0)" in calendar.because


def test_an_operation_moves_on_from_a_public_holiday(tmp_path: Path) -> None:
    text = holidays_overlay(load_protocol().clinic_calendar, DAYS, "Ruritania", "a list 1.0")
    day = datetime.date(2027, 5, 17)
    assert free_day(day, calendar_of(five_year_old(), load_protocol())) == day
    assert free_day(day, calendar_of(five_year_old(), laid_over(tmp_path, text))) == datetime.date(2027, 5, 18)


def test_what_the_clinic_has_closed_stays_and_nothing_stands_twice(tmp_path: Path) -> None:
    clinic = laid_over(tmp_path, CLOSED)
    text = holidays_overlay(clinic.clinic_calendar, DAYS, "Ruritania", "a list 1.0")
    again = laid_over(tmp_path, text)
    assert [one.reason for one in again.clinic_calendar.blocked] == ["theatre", "Whit Monday", *list(DAYS.values())[:1]]
    assert laid_over(tmp_path, holidays_overlay(again.clinic_calendar, DAYS, "R", "l")).clinic_calendar.blocked == (
        again.clinic_calendar.blocked
    )


@pytest.mark.parametrize(
    ("place", "country", "part"), [("DE-BY", "DE", "BY"), ("us-ca", "US", "CA"), ("FR", "FR", None)]
)
def test_the_verb_gives_every_day_of_the_list_for_these_years(place, country, part, tmp_path: Path) -> None:
    done = run(place, "--on", "2026-11-25", "--years", "2")
    assert done.exit_code == 0, done.stderr
    blocked = laid_over(tmp_path, done.stdout).clinic_calendar.blocked
    assert {one.from_date for one in blocked} == set(library.country_holidays(country, subdiv=part, years=(2026, 2027)))


def test_with_the_clinics_folder_its_closed_weeks_stay(tmp_path: Path) -> None:
    laid_over(tmp_path / "clinic", CLOSED)
    done = run("FR", "--on", "2026-11-25", "--years", "1", "--protocol", str(tmp_path / "clinic"))
    assert 'reason = "theatre", from = 2027-05-03, to = 2027-05-07' in done.stdout


@pytest.mark.parametrize(
    ("place", "said"),
    [
        ("XX", "found 'XX', expected a country by its two letters"),
        ("DE-XX", "expected a part of DE: "),
        ("MC-1", "expected MC alone: its parts are not told apart"),
        ("", "expected a country by its two letters"),
    ],
)
def test_a_place_that_is_not_listed_is_told_with_what_is(place: str, said: str) -> None:
    done = run(place)
    assert (done.exit_code, done.stdout) == (2, "")
    assert said in done.stderr


def test_without_the_extra_it_says_what_to_install(monkeypatch) -> None:
    monkeypatch.setitem(sys.modules, "holidays", None)
    done = run("DE")
    assert (done.exit_code, done.stdout) == (2, "")
    assert "pip install 'limb-pathway[calendar]'" in done.stderr


def test_a_plan_and_the_help_never_load_the_list() -> None:
    import subprocess

    script = (
        "import sys\nfrom click.testing import CliRunner\nfrom pathway.cli.main import main\n"
        "assert CliRunner().invoke(main, ['rules', 'holidays', '--help']).exit_code == 0\n"
        "assert CliRunner().invoke(main, ['rules', 'show', 'clinic_calendar']).exit_code == 0\n"
        "assert 'holidays' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", script], check=True)
