"""A clinic of many invented children, once: taken in, planned, asked who needs what, planned anew in part.

Each child is a copy of an example under a name of its own. Copies of one example plan alike, so that each example is
planned once and its plan stored for all its copies; what is planned anew is planned as a clinic would.

Run as: .venv/bin/python .ci/simulate/many_children.py --children 200000 --folder DIR   (20 minutes on two cores)
Prints the seconds and the most memory of each command, which runs in a process of its own.
"""

from __future__ import annotations

import argparse
import datetime
import subprocess
import sys
import time
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

from pathway.casefile import read_case
from pathway.children import examples
from pathway.plan.make import make_plan
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.questions.due import plan_summary
from pathway.record import Record
from pathway.registry.exchange import import_record
from pathway.registry.journal.entry import StoredPlan
from pathway.registry.planning import protocol_digest
from pathway.registry.store import Registry, open_registry

ON = datetime.date(2026, 11, 25)
WHEN = datetime.datetime(2026, 11, 25, 8, 0, tzinfo=datetime.UTC)
BATCH = 1000
RUN = """
import sys
from pathlib import Path
from pathway.cli.main import main
try:
    main(sys.argv[1:])
finally:
    most = next(line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM"))
    print(int(most.split()[1]) // 1024, file=sys.stderr)
"""
"""A verb that says at its end how much memory it had: what the system counts for it begins with that of this script."""


def copies(children: int) -> Iterator[tuple[str, Record]]:
    """Yield each child: of which example it is a copy, and its record under its own name."""
    protocol, names = load_protocol(), examples.names()
    known: dict[str, Record] = {}
    for name in names:
        record = read_case(examples.text(name), name, protocol, ON)
        assert isinstance(record, Record)
        known[name] = record
    for number in range(children):
        name = names[number % len(names)]
        child = known[name].child.model_copy(update={"id": f"child-{number:06}"})
        yield name, known[name].model_copy(update={"child": child})


def take_in(registry: Registry, children: int) -> None:
    """Take in every child as the verb `import` does, one after the other, each written through to the disk."""
    begun = time.perf_counter()
    for number, (_, record) in enumerate(copies(children), 1):
        import_record(registry, record, who="simulation", when=WHEN)
        if number % (BATCH * 20) == 0:
            print(f"  {number} taken in after {time.perf_counter() - begun:.0f} s", flush=True)
    print(f"import of {children}: {time.perf_counter() - begun:.0f} s", flush=True)


def store_plans(registry: Registry, children: int, left: int) -> None:
    """Store the plan of each child but the last so many: made once for each example."""
    protocol = load_protocol()
    digest, made = protocol_digest(protocol), {}
    begun, coming = time.perf_counter(), copies(children - left)
    while batch := list(islice(coming, BATCH)):
        plans = []
        for name, record in batch:
            if name not in made:
                plan = make_plan(Question(record, protocol, ON), compared=False)
                made[name] = plan_summary(plan, record, protocol)
            head = registry.head(record.child.id)
            plans.append(StoredPlan(record.child.id, head, protocol.version, digest, ON, made[name]))
        registry.store_plans(plans)
    print(f"storing {children - left} plans: {time.perf_counter() - begun:.0f} s", flush=True)


def command(file: Path, *words: str) -> None:
    """Run a verb on the registry and print how long it took and the most memory that its process had."""
    whole = [sys.executable, "-c", RUN, "registry", *words, "--registry", str(file)]
    begun = time.perf_counter()
    with subprocess.Popen(whole, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        lines = sum(1 for _ in running.stdout)
        said = running.stderr.read().splitlines()
    took = time.perf_counter() - begun
    *_, last, most = ["", *said]
    told = f"{took:.2f} s, {most} MB, {lines} lines, exit {running.returncode}"
    print(f"registry {' '.join(words)}: {told}; {last}", flush=True)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--children", type=int, default=200_000)
    parser.add_argument("--planned-anew", type=int, default=200, help="how many have no plan yet and are planned")
    parser.add_argument("--folder", type=Path, required=True, help="an empty folder for the registry")
    asked = parser.parse_args()
    place = asked.folder / "many.db"
    with open_registry(str(place), create=True) as opened:
        take_in(opened, asked.children)
        store_plans(opened, asked.children, asked.planned_anew)
    print(f"file: {place.stat().st_size / 1e6:.0f} MB", flush=True)
    day = ("--on", str(ON))
    command(place, "list")
    command(place, "due", *day)
    command(place, "due", *day, "--most", "100", "--after", "2027-01-25/child-000000/1")
    command(place, "replan", *day)
    command(place, "replan", *day)
