"""Count the tests that were skipped, by reason, and fail where one was skipped that must not be.

Reads the report of a run (`pytest --junitxml=FILE`) and the kept list of reasons (`skips.toml` beside this script). A
reason that is not there, or whose program, module or data this machine has, is a fault: a test that nobody runs holds
nothing. So is a report without a test that ran.

Run as: .venv/bin/python .ci/tests/skips.py report.xml
"""

from __future__ import annotations

import argparse
import ast
import importlib.util
import os
import re
import shutil
import sys
import tomllib
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

ROOT = Path(__file__).parents[2]
KEPT = Path(__file__).with_name("skips.toml")


def _has_path(pattern: str) -> bool:
    """Return whether a file or folder fits a pattern, which is absolute or counted from the clone."""
    whole = ROOT / pattern
    return any(Path(whole.anchor).glob(str(whole.relative_to(whole.anchor))))


@dataclass(frozen=True)
class Machine:
    """What can be asked of the machine on which the tests ran; `installs` where `.ci/run` could install programs."""

    program: Callable[[str], bool]
    module: Callable[[str], bool]
    path: Callable[[str], bool]
    installs: bool

    def has(self, kept: Mapping[str, Any]) -> str:
        """Return the first of what a kept reason says is missing that is here after all, "" where none is."""
        for kind, ask in (("program", self.program), ("module", self.module), ("path", self.path)):
            for name in kept.get(f"unless_{kind}", ()):
                if ask(name):
                    return f"the {kind} {name}"
        return ""


def this_machine() -> Machine:
    """Return the machine that this runs on."""
    return Machine(
        program=lambda name: shutil.which(name) is not None,
        module=lambda name: importlib.util.find_spec(name) is not None,
        path=_has_path,
        installs=os.name == "posix" and os.geteuid() == 0 and shutil.which("apt-get") is not None,
    )


def reason_of(skipped: ElementTree.Element) -> str:
    """Return why a test was skipped, as its author wrote it; an expected failure says that it is one."""
    said = skipped.get("message") or ""
    if said == "collection skipped":  # a whole file: the reason stands in a tuple of place and sentence
        try:
            said = str(ast.literal_eval((skipped.text or "").strip())[-1])
        except (ValueError, SyntaxError, IndexError):
            said = (skipped.text or "").strip()
    said = said.removeprefix("Skipped: ")
    return f"expected to fail: {said}" if skipped.get("type") == "pytest.xfail" else said


def skips(report: str) -> tuple[int, Counter[str]]:
    """Return how many tests ran, and how many did not by reason. Raises ParseError for what is no report."""
    ran, reasons = 0, Counter[str]()
    for case in ElementTree.fromstring(report).iter("testcase"):
        skipped = case.find("skipped")
        if skipped is None:
            ran += 1
        else:
            reasons[reason_of(skipped)] += 1
    return ran, reasons


def fault(reason: str, kept: Sequence[Mapping[str, Any]], machine: Machine) -> str:
    """Return what is wrong with a skip, "" where it may be."""
    for one in kept:
        if re.fullmatch(one["reason"], reason):
            if here := machine.has(one):
                return f"found {here} on this machine, so that the test must run"
            if one.get("installed_by_ci") and machine.installs:
                return "`.ci/run` installs what it needs as root with apt-get: look why that failed, and mend it"
            return ""
    return f"expected a reason of {KEPT.name}; make the test run here, or write there when it may be left out"


def kept_reasons() -> list[dict[str, Any]]:
    """Return the reasons that may be, as they stand in the kept list."""
    found: list[dict[str, Any]] = tomllib.loads(KEPT.read_text(encoding="utf-8"))["skip"]
    return found


def told(report: str, machine: Machine) -> tuple[str, list[str]]:
    """Return the counts by reason in words, and what is wrong."""
    ran, reasons = skips(report)
    kept = kept_reasons()
    lines = [f"{ran} tests ran, {reasons.total()} were skipped"]
    lines += [f"{count:6}  {reason}" for reason, count in sorted(reasons.items(), key=lambda one: (-one[1], one[0]))]
    wrong = [
        f"skipped {reasons[one]} times: {one}: {why}" for one in sorted(reasons) if (why := fault(one, kept, machine))
    ]
    return "\n".join(lines), wrong if ran else ["found no test that ran, expected all but those skipped", *wrong]


def main() -> None:
    """Print the counts; end with the faults."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("report", type=Path)
    file = asked.parse_args().report
    try:
        said, wrong = told(file.read_text(encoding="utf-8"), this_machine())
    except FileNotFoundError:
        sys.exit(f"{file}: not there; run pytest with --junitxml={file} first")
    except ElementTree.ParseError as bad:
        sys.exit(f"{file}: found no whole report ({bad}); expected what pytest --junitxml writes: run the tests again")
    print(said)
    if wrong:
        sys.exit("\n".join(wrong))


if __name__ == "__main__":
    main()
