"""The script that counts what a run of the tests left out: which skip may be, on which machine, and what it says."""

from __future__ import annotations

import importlib.util
import re
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).parents[3]
SCRIPT = ROOT / ".ci" / "tests" / "skips.py"
BENCHMARK = "a benchmark: run with --benchmark-enable"
TMUX = "tmux is not installed: no real terminal to start the program in"
CLUSTER = "dask.distributed is not installed: no test on a cluster"


@pytest.fixture(scope="module")
def skips() -> ModuleType:
    found = importlib.util.spec_from_file_location("ci_skips", SCRIPT)
    assert found
    assert found.loader
    module = importlib.util.module_from_spec(found)
    sys.modules[found.name] = module
    found.loader.exec_module(module)
    return module


def report(*reasons: str, ran: int = 3) -> str:
    """A report as pytest writes it, of tests that ran and of one that did not for each reason."""
    cases = ['<testcase classname="a" name="b" time="0.1" />'] * ran
    cases += [
        f'<testcase name="c"><skipped type="pytest.skip" message="{one}">a:1: {one}</skipped></testcase>'
        for one in reasons
    ]
    return f'<testsuites><testsuite name="pytest">{"".join(cases)}</testsuite></testsuites>'


def machine(skips: ModuleType, *there: str, installs: bool = False):
    def has(name: str) -> bool:
        return name in there

    return skips.Machine(program=has, module=has, path=has, installs=installs)


def wrong(skips: ModuleType, reason: str, *there: str, installs: bool = False) -> str:
    return skips.fault(reason, skips.kept_reasons(), machine(skips, *there, installs=installs))


def test_it_counts_by_reason_most_first(skips) -> None:
    said, faults = skips.told(report(TMUX, BENCHMARK, BENCHMARK), machine(skips))
    assert said.splitlines() == ["3 tests ran, 3 were skipped", f"     2  {BENCHMARK}", f"     1  {TMUX}"]
    assert faults == []


def test_a_reason_that_is_not_kept_is_a_fault_with_how_often(skips) -> None:
    _, faults = skips.told(report("not today", "not today", BENCHMARK), machine(skips))
    (said,) = faults
    assert said.startswith("skipped 2 times: not today: expected a reason of skips.toml")


@pytest.mark.parametrize("reason", ["", "skip", f"{BENCHMARK} or another day", f"why {TMUX}"])
def test_a_reason_is_compared_as_a_whole(skips, reason: str) -> None:
    assert wrong(skips, reason)


@pytest.mark.parametrize(
    ("reason", "there"),
    [
        (TMUX, "tmux"),
        ("no Chromium is installed here", "google-chrome"),
        ("qpdf is not installed here", "qpdf"),
        ("pdfinfo is not installed here", "pdftotext"),
        ("poppler is not installed: nothing else reads the documents", "pdftotext"),
        ("java is not installed here", "java"),
        ("npm is not installed here", "npm"),
        (
            "no test on PostgreSQL: PostgreSQL is not installed (initdb and pg_ctl; Debian package `postgresql`)",
            "initdb",
        ),
    ],
)
def test_a_program_may_be_missing_only_where_it_is_not_there_and_could_not_be_installed(skips, reason, there) -> None:
    assert wrong(skips, reason) == ""
    assert wrong(skips, reason, there) == f"found the program {there} on this machine, so that the test must run"
    assert "look why that failed" in wrong(skips, reason, installs=True)


@pytest.mark.parametrize(
    ("reason", "kind", "there"),
    [
        ("ics is not installed here", "module", "ics"),
        ("recurring-ical-events is not installed here", "module", "recurring_ical_events"),
        ("open data not here: /a/b.csv", "path", "../shared/reference/open_data"),
    ],
)
def test_readers_and_data_may_be_missing_wherever_they_are_not_there(skips, reason, kind, there) -> None:
    assert wrong(skips, reason, installs=True) == ""
    assert wrong(skips, reason, there) == f"found the {kind} {there} on this machine, so that the test must run"


@pytest.mark.parametrize(
    "reason",
    [
        CLUSTER,
        "the extra xlsx is not installed here",
        "the extra parquet is not installed here",
        "the extra fhir is not installed here",
        "the extra calendar is not installed here",
        "bibtexparser is not installed here",
        "sqlcipher3 is not installed: no test on an encrypted registry",
        "psycopg is not installed: no test on PostgreSQL",
        "textual-serve is not installed: there is nothing to serve with",
        "textstat is not installed here",
        "npm cannot fetch axe-core and vnu-jar here",
        "no test on PostgreSQL: initdb failed: no space",
        "could not import 'emcee': No module named 'emcee'",
    ],
)
def test_what_the_extra_test_brings_and_what_is_there_but_fails_is_never_left_out(skips, reason: str) -> None:
    assert wrong(skips, reason).startswith("expected a reason of skips.toml")


def test_a_file_left_out_as_a_whole_and_an_expected_failure_have_their_reasons(skips) -> None:
    whole = "('/clone/tests/a.py', 19, 'Skipped: the extra xlsx is not installed here')"
    text = (
        f'<testsuite><testcase name="a"><skipped type="pytest.skip" message="collection skipped">{whole}</skipped>'
        '</testcase><testcase name="b"><skipped type="pytest.xfail" message="one day" /></testcase></testsuite>'
    )
    assert skips.skips(text) == (0, {"the extra xlsx is not installed here": 1, "expected to fail: one day": 1})


def test_a_report_without_a_test_that_ran_is_a_fault(skips) -> None:
    _, faults = skips.told(report(BENCHMARK, ran=0), machine(skips))
    assert faults == ["found no test that ran, expected all but those skipped"]


def kept_forms(skips: ModuleType) -> Iterable[re.Pattern[str]]:
    return [re.compile(one["reason"]) for one in skips.kept_reasons()]


def test_the_kept_list_says_why_and_takes_no_reason_whatever(skips) -> None:
    assert all(one["because"] for one in skips.kept_reasons())
    assert not any(form.fullmatch(text) for form in kept_forms(skips) for text in ("anything", "not now", ""))


def test_the_report_of_a_real_run_is_read(tmp_path: Path) -> None:
    (tmp_path / "test_made.py").write_text(
        "import pytest\n\ndef test_runs():\n    assert 1 + 1 == 2\n\n"
        f"@pytest.mark.skipif(True, reason={BENCHMARK!r})\ndef test_a():\n    pass\n\n"
        "def test_b():\n    pytest.skip('not today')\n",
        encoding="utf-8",
    )
    (tmp_path / "test_whole.py").write_text(
        "import pytest\n\npytest.importorskip('no_such_module')\n", encoding="utf-8"
    )
    made = tmp_path / "report.xml"
    command = [sys.executable, "-m", "pytest", "-q", "-c", "none.ini", "--rootdir", ".", f"--junitxml={made}"]
    (tmp_path / "none.ini").write_text("[pytest]\n", encoding="utf-8")
    subprocess.run(command, cwd=tmp_path, check=True, capture_output=True)
    done = subprocess.run([sys.executable, str(SCRIPT), str(made)], capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert done.stdout.splitlines()[0] == "1 tests ran, 3 were skipped"
    assert f"     1  {BENCHMARK}" in done.stdout.splitlines()
    assert "skipped 1 times: not today: expected a reason of skips.toml" in done.stderr
    assert "skipped 1 times: could not import 'no_such_module'" in done.stderr


@pytest.mark.parametrize(
    ("text", "said"), [(None, "run pytest with --junitxml="), ("<testsuite>", "run the tests again")]
)
def test_a_report_that_is_missing_or_cut_off_is_told_in_a_sentence(text, said, tmp_path: Path) -> None:
    made = tmp_path / "report.xml"
    if text is not None:
        made.write_text(text, encoding="utf-8")
    done = subprocess.run([sys.executable, str(SCRIPT), str(made)], capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert said in done.stderr
    assert "Traceback" not in done.stderr
