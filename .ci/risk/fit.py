"""Fit the published counts of rules/harms and write their pooled table, rules/harms/pooled.toml.

python .ci/risk/fit.py                    writes the table
    --check                               only says whether it comes out again (exit 1 if not)
    --leave-out [SERIES …]                prints each series, or those named, foretold by a fit without it
    --rows FILE                           prints the counts of FILE ([[harm]] tables like those of rules/harms)
                                          foretold by the fit of rules/harms; they are never fitted, and those
                                          that the table does not distinguish are named and passed over

Nothing but what stands in rules/harms goes into the table.
"""

from __future__ import annotations

import argparse
import os
import sys
import tomllib
from collections.abc import Iterable, Sequence
from pathlib import Path

# Thousands of small matrices: several threads only wait for each other. Read when numpy is loaded.
for _variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_variable, "1")

import numpy as np  # noqa: E402

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from pydantic import ValidationError  # noqa: E402

from pathway.problems import Problem, Refused, refused  # noqa: E402
from pathway.protocol.harm import Harm  # noqa: E402
from pathway.protocol.harm_check import faults_of_harm  # noqa: E402
from pathway.protocol.load import load_protocol  # noqa: E402
from pathway.protocol.model import Protocol, Table  # noqa: E402
from pathway.protocol.validation import faults_of_validation  # noqa: E402
from pathway.risk.fitting import fit  # noqa: E402
from pathway.risk.pooled import TABLE, summary, table_of  # noqa: E402
from pathway.risk.predict import Foretold, foretold  # noqa: E402
from pathway.risk.predict import leave_out as foretold_without  # noqa: E402
from pathway.risk.terms import behind  # noqa: E402

FILE = ROOT / "rules" / "harms" / "pooled.toml"
SEED = 2026
TOLERANCE = 0.002


def pooled_table(protocol: Protocol) -> Table:
    """Return the pooled table of the counts that the rules have."""
    items = behind(protocol)
    return table_of(*summary(fit(items, protocol), items), items, protocol)


def leave_out(protocol: Protocol, series: Iterable[str] | None = None) -> tuple[Foretold, ...]:
    """Return the counts behind the pooled table, each foretold by a fit without its series; all without `series`.

    Raises Refused for a series that no count behind the table has.
    """
    items = behind(protocol)
    known = tuple(dict.fromkeys(item.series for item in items))
    for name in series or ():
        if name not in known:
            raise refused("--leave-out", f"the series {name!r}", f"one of {', '.join(known)}", "correct the name")
    return foretold_without(items, protocol, np.random.default_rng(SEED), series or known)


def foretell(protocol: Protocol, items: Sequence[Harm]) -> tuple[Foretold, ...]:
    """Return further counts foretold by the fit of the rules, which has not seen them."""
    found, rng = fit(behind(protocol), protocol), np.random.default_rng(SEED)
    return tuple(foretold(found, item, protocol, rng) for item in items)


def rows_of(path: Path) -> tuple[tuple[Harm, ...], tuple[str, ...]]:
    """Return the counts of a file that the fit can foretell, and the ids of those that the table does not distinguish.

    Raises Refused naming file and count.
    """
    place = str(path)
    try:
        tables = tomllib.loads(path.read_text(encoding="utf-8")).get("harm", [])
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise Refused(Problem(place, "", None, str(error), "a TOML file with [[harm]] tables", "correct it")) from error
    faults: list[Problem] = []
    items: list[Harm] = []
    passed_over: list[str] = []
    for entry in tables:
        name = str(entry.get("id", "count without id"))
        try:
            item = Harm.model_validate(entry)
        except ValidationError as error:
            faults += faults_of_validation(error, place, name)
            continue
        known = bool(item.outcomes) and item.kind != "mean" and item.treatment == "lengthening"
        # Adults may be foretold, though they are never fitted.
        asked = item.model_copy(update={"fit": known, "adults": False})
        do = "correct the count or leave it out"
        faults += [Problem(place, f"rule {name}", None, *fault, do) for fault in faults_of_harm(asked)]
        if known:
            items.append(item)
        else:
            passed_over.append(name)
    if faults:
        raise Refused(*faults)
    return tuple(items), tuple(passed_over)


def difference(one: Table, other: Table) -> float:
    """Return the largest difference between two pooled tables; infinite where they are of different counts."""
    if (one.columns, one.check, len(one.rows)) != (other.columns, other.check, len(other.rows)):
        return float("inf")
    numbers = [np.array([table.column(name) for name in table.columns[1:]]) for table in (one, other)]
    return float(np.abs(numbers[0] - numbers[1]).max())


def text_of(table: Table) -> str:
    """Return the table as a file of the rules."""
    lines = ["# Written by python .ci/risk/fit.py from the counts of rules/harms; do not edit."]
    lines += [f'{key} = "{getattr(table, key)}"' for key in ("name", "unit", "sex", "source", "provenance")]
    lines += [f'{key} = "{getattr(table, key)}"' for key in ("check", "note")]
    lines.append(f"columns = [{', '.join(_toml(name) for name in table.columns)}]")
    rows = (f"  [{', '.join(_toml(value) for value in row)}]," for row in table.rows)
    return "\n".join([*lines, "rows = [", *rows, "]"]) + "\n"


def _toml(value: str | float) -> str:
    return f'"{value}"' if isinstance(value, str) else f"{value:g}"


def printed(found: Sequence[Foretold]) -> str:
    """Return the counts with their ranges, and how many lie inside."""
    lines = [
        f"{'  ' if item.inside else '! '}{item.id}: {item.n:g} of {item.of:g}, foretold {item.middle:g} "
        f"({item.low:g} to {item.high:g})"
        for item in found
    ]
    inside = sum(item.inside for item in found)
    share = f"{100 * inside / len(found):.0f} of 100" if found else "none to foretell"
    return "\n".join([*lines, f"{inside} of {len(found)} counts lie in their range of 90 in 100 ({share})"])


def main(arguments: Sequence[str] | None = None) -> None:
    """Read the arguments; write or print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--check", action="store_true")
    parser.add_argument("--leave-out", nargs="*", metavar="SERIES")
    parser.add_argument("--rows", type=Path, metavar="FILE")
    given = parser.parse_args(arguments)
    protocol = load_protocol()
    if given.leave_out is not None or given.rows:
        passed_over: tuple[str, ...] = ()
        try:
            if given.rows:
                items, passed_over = rows_of(given.rows)
                found = foretell(protocol, items)
            else:
                found = leave_out(protocol, given.leave_out)
        except Refused as refusal:
            sys.exit(str(refusal))
        print("\n".join([*(f"- {name}: not distinguished" for name in passed_over), printed(found)]))
    elif given.check:
        if difference(pooled_table(protocol), protocol.table(TABLE)) > TOLERANCE:
            sys.exit(f"{FILE.relative_to(ROOT)} does not come out again: run python .ci/risk/fit.py")
    else:
        table = pooled_table(protocol)
        FILE.write_text(text_of(table), encoding="utf-8")
        print(f"{FILE.relative_to(ROOT)}: {table.source}")


if __name__ == "__main__":
    main()
