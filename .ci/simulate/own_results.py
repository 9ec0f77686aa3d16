"""A clinic of many invented children, each with an accepted plan and later visits, asked for its own results.

Run as: .venv/bin/python .ci/simulate/own_results.py --children 10000 --folder DIR   (10 minutes on two cores, 5 GB)
Prints the seconds and the most memory of `registry results`, which runs in a process of its own.
"""

from __future__ import annotations

import argparse
import datetime
import sys
import time
from itertools import cycle, islice
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from many_children import ON, WHEN, command

from pathway.casefile import read_case
from pathway.children import examples
from pathway.plan.make import make_plan
from pathway.plan.model import Plan
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.record import Measurement, Record, Visit
from pathway.registry.journal.entry import NO_ENTRIES
from pathway.registry.journal.payloads import Revision, case_entry, revision_entry, visit_entry
from pathway.registry.store import Registry, open_registry

VISITS_AFTER_DAYS = (200, 400, 600, 800, 1000)
ASKED = datetime.date(2029, 12, 1)
FILM = "standing_full_length_film"


def later_visits(record: Record, plan: Plan) -> list[Visit]:
    """Return visits after the plan, with the lengths that it has for the point nearest to each."""
    made = []
    for days in VISITS_AFTER_DAYS if plan.growth.by_age else ():
        day = ON + datetime.timedelta(days=days)
        point = min(plan.growth.by_age, key=lambda one: abs((one.date - day).days))
        lengths = (
            (record.affected_side, "femur", point.short_femur_mm),
            (record.affected_side, "tibia", point.short_tibia_mm),
            (record.other_side, "femur", point.long_femur_mm),
            (record.other_side, "tibia", point.long_tibia_mm),
        )
        measured = tuple(
            Measurement(finding=f"{bone}_length_mm", side=side, value=mm, method=FILM)
            for side, bone, mm in lengths
            if mm is not None
        )
        made.append(Visit(date=day, method=FILM, measurements=measured))
    return made


def fill(registry: Registry, children: int) -> None:
    """Keep so many copies of the examples, each with the whole plan that was accepted for it and its later visits."""
    protocol, begun = load_protocol(), time.perf_counter()
    kept = []
    for name in examples.names():
        record = read_case(examples.text(name), name, protocol, ON)
        assert isinstance(record, Record)
        plan = make_plan(Question(record, protocol, ON), compared=True)
        revision = Revision(
            plan=plan.model_dump(mode="json"), on=ON, protocol_version=protocol.version, recommended=True
        )
        kept.append((record, revision, [visit_entry(one, "simulation") for one in later_visits(record, plan)]))
    for number, (record, revision, visits) in enumerate(islice(cycle(kept), children)):
        name = f"child-{number:06}"
        child = record.child.model_copy(update={"id": name})
        case = case_entry(record.model_copy(update={"child": child}), "simulation")
        entries = [case, revision_entry(revision, "simulation"), *visits]
        registry.append(name, entries, seen=NO_ENTRIES, when=WHEN)
        if (number + 1) % 1000 == 0:
            print(f"  {number + 1} kept after {time.perf_counter() - begun:.0f} s", flush=True)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--children", type=int, default=10_000)
    parser.add_argument("--folder", type=Path, required=True, help="an empty folder for the registry")
    asked = parser.parse_args()
    place = asked.folder / "results.db"
    with open_registry(str(place), create=True) as opened:
        fill(opened, asked.children)
    print(f"file: {place.stat().st_size / 1e6:.0f} MB", flush=True)
    for _ in range(2):
        command(place, "results", "--on", str(ASKED))
