"""Count how many plans change without each rule that rests on judgement or memory, or with another number.

    .venv/bin/python .ci/what_rules_change.py [--jobs 2] [--missing] [--only RULE ...]

Children: the examples and the invented ones of tests/plan/clinic.toml. A rule of the graph is left out and the graph
and its windows are compared first; a plan is made anew only where they differ, or where a number was read in making it.
A rule without which the rules are not consistent is left as it is. Writes rules/guidance/what_rules_change.toml rule by
rule (about an hour on two cores); with `--missing` only what it does not hold yet is counted and added, of as many
children as there are now; with `--only` it prints and writes nothing.
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from pathway.growth import Outlook, fit_growth, outlook  # noqa: E402
from pathway.plan import other_reading  # noqa: E402
from pathway.plan.make import make_plan  # noqa: E402
from pathway.plan.model import Plan  # noqa: E402
from pathway.protocol.check import faults_of  # noqa: E402
from pathway.protocol.load import load_protocol  # noqa: E402
from pathway.protocol.model import AgeWindow, AmountLimit, Protocol, Rule, Stage, Value  # noqa: E402
from pathway.protocol.question import Question  # noqa: E402
from pathway.questions.rule_sway import TABLE, differs, otherwise, ranked, unread  # noqa: E402
from pathway.record import Record  # noqa: E402
from pathway.rule_engine.classify import classify, with_classes  # noqa: E402
from pathway.rule_engine.facts import facts_on, known_steps  # noqa: E402
from pathway.rule_engine.staging import stage  # noqa: E402
from pathway.timing.windows import stage_windows  # noqa: E402
from tests.examples import NAMES, ON, example  # noqa: E402
from tests.plan.test_clinic import ROWS, record_of  # noqa: E402
from tests.sample import at_age  # noqa: E402

FILE = ROOT / "rules" / "guidance" / f"{TABLE}.toml"
SETTINGS = ("growth_draws", "age_grid_months", "amount_step_mm")
"""Values that say how finely the program works, nothing about a child."""
PROTOCOL = load_protocol()
other_reading.MOST = 0
"""Close calls change no stage, age or amount: no plan is made anew for them here."""


@cache
def children() -> dict[str, tuple[Record, object]]:
    """Return every child with the day of its plan."""
    found: dict[str, tuple[Record, object]] = {name: (example(name), ON) for name in NAMES}
    for row in ROWS:
        found[f"clinic.{row['id']}"] = (record_of(row), at_age(row["age_years"]))
    return found


def question(child: str, protocol: Protocol) -> Question:
    record, on = children()[child]
    return Question(record, protocol, on)


def planned(child: str, protocol: Protocol) -> Plan:
    return make_plan(question(child, protocol), compared=False)


@cache
def as_it_is(child: str) -> tuple[Plan, frozenset[str]]:
    """Return the plan of a child and the values that were read in making it."""
    read: set[str] = set()
    asked = Protocol.value

    def value(self: Protocol, id: str) -> Value:
        read.add(id)
        return asked(self, id)

    # A copy, so that nothing kept for the protocol itself hides what is read.
    fresh = PROTOCOL.with_parts()
    Protocol.value = value  # type: ignore[method-assign]
    try:
        plan = planned(child, fresh)
    finally:
        Protocol.value = asked  # type: ignore[method-assign]
    return plan, frozenset(read)


@cache
def natural(child: str) -> Outlook | None:
    """Return how a child grows: no rule that is left out whole says anything of growth."""
    asked = question(child, PROTOCOL).as_known()
    posterior = fit_growth(asked, seed=0, known_steps=known_steps(asked))
    return outlook(posterior) if posterior else None


def drawn(child: str, protocol: Protocol) -> object:
    """Return graph and windows of a child as text, without the words of the rules."""
    asked = question(child, protocol).as_known()
    if asked.record.child.affected_side == "both":
        return None
    facts = facts_on(asked, natural(child))
    classes = classify(facts, protocol)
    graph = stage(with_classes(facts, classes), asked)
    items = [
        (
            item.id,
            item.state,
            [(rule.id, verdict.state) for rule, verdict in item.indicated],
            [(gate.gate.id, gate.state) for gate in item.gates if gate.state not in ("holds", "later")],
            bool(item.gates),
            [rule.id for rule, _ in item.against],
        )
        for item in graph.stages
    ]
    windows = stage_windows(graph, asked)
    return repr((items, getattr(windows, "windows", windows), graph.standing))


drawn_as_it_is = cache(lambda child: drawn(child, PROTOCOL))


def may_matter(child: str, rule: Rule | Stage, other: Protocol) -> bool:
    """Return whether the plan has to be made anew: its graph differs, or its numbers do."""
    if isinstance(rule, Value):
        return rule.id in as_it_is(child)[1]
    if isinstance(rule, AgeWindow | AmountLimit | Stage):
        kind = rule.id if isinstance(rule, Stage) else rule.stage
        return any(item.kind == kind for item in as_it_is(child)[0].stages)
    before = drawn_as_it_is(child)
    return before is None or drawn(child, other) != before


def changed(rule: Rule | Stage) -> int | None:
    """Return how many children get another plan, or None where the rules do not stand without the rule."""
    others = [other for other in otherwise(PROTOCOL, rule) if not faults_of(other)]
    if not others:
        return None
    return sum(any(changes(child, rule, other) for other in others) for child in children())


def changes(child: str, rule: Rule | Stage, other: Protocol) -> bool:
    try:
        return may_matter(child, rule, other) and differs(as_it_is(child)[0], planned(child, other))
    except Exception as error:
        print(f"{rule.id}: {child} cannot be planned so ({type(error).__name__}: {error})"[:200], file=sys.stderr)
        return False


def counted(id: str) -> tuple[str, int | None]:
    return id, changed(next(rule for rule in unread(PROTOCOL) if rule.id == id))


HEAD = """# How many plans change without each rule that rests on judgement or memory, or with its number at its ends (a
# fifth less or more where none are given). Counted by .ci/what_rules_change.py; do not edit.

name = "Plans that each rule of judgement or memory changes"
unit = "plans"
sex = "both"
source = "computed: invented children of examples and tests; other stages, order, ages by a month or amounts by 5 mm"
provenance = "computed"
columns = ["rule", "plans", "of"]
"""


def text_of(counts: dict[str, tuple[int, int]]) -> str:
    most_first = sorted(counts.items(), key=lambda item: (-item[1][0], item[0]))
    return HEAD + "rows = [\n" + "".join(f'  ["{id}", {n}, {of}],\n' for id, (n, of) in most_first) + "]\n"


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--jobs", type=int, default=2)
    asked.add_argument("--only", nargs="*", default=[])
    asked.add_argument("--missing", action="store_true")
    options = asked.parse_args()
    ids = [rule.id for rule in unread(PROTOCOL) if rule.id not in SETTINGS]
    ids = [id for id in ids if id in options.only] if options.only else ids
    counts = {rule.id: (n, of) for rule, n, of in ranked(PROTOCOL)} if options.missing else {}
    ids = [id for id in ids if id not in counts]
    with ProcessPoolExecutor(options.jobs) as pool:
        for id, n in pool.map(counted, ids):
            print(f"{id}: {'left as it is' if n is None else n}", flush=True)
            if n is not None:
                counts[id] = n, len(children())
            if not options.only:  # after each, so that nothing counted is lost when it is stopped
                FILE.write_text(text_of(counts), encoding="utf-8")
    if not options.only:
        print(f"{FILE.relative_to(ROOT)}: {len(counts)} rules, {len(children())} children")


if __name__ == "__main__":
    main()
