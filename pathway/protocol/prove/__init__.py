"""The proofs of a rule set: that it has no hole and no contradiction, each with a counter-example where it has."""

from __future__ import annotations

from collections.abc import Mapping

from pathway.problems import Problem, Refused
from pathway.protocol.check import faults_of
from pathway.protocol.model import Protocol
from pathway.protocol.prove.firing import firing_faults
from pathway.protocol.prove.fits import fit_faults
from pathway.protocol.prove.order import order_faults
from pathway.protocol.prove.schemes import scheme_faults
from pathway.protocol.prove.space import Space
from pathway.protocol.prove.wording import wording_faults


def prove(protocol: Protocol, files: Mapping[str, str] | None = None) -> tuple[Problem, ...]:
    """Return every fault of the rule set; none means that it is proved.

    First ids, references, sources, ranges and words (`protocol.check.faults_of`, `wording`); where these are
    faulty the rest cannot be judged and is left for the next run. Then: every rule that decides can hold and
    can fail, and every stage can be asked for and started; every classification gives one type to every child
    outside its declared gap; the order of stages has no circle; and stages that can be asked for together have
    room in time. Each complaint names the rule and gives the counter-example. `files` says in which file each
    id stands.
    """
    shape = faults_of(protocol, files)
    words = tuple(wording_faults(protocol))
    found = list(words)
    if not shape and not words:
        space = Space(protocol)
        found += [*firing_faults(protocol, space), *scheme_faults(protocol, space), *order_faults(protocol)]
        found += fit_faults(protocol, space)
    places = files or {}
    told = tuple(
        Problem(places.get(item.rule, "rules"), f"rule {item.rule}", None, item.found, item.expected, item.do)
        for item in found
    )
    return (*shape, *told)


def refuse_unproved(protocol: Protocol, head: str) -> None:
    """Refuse a protocol that does not hold together, with every fault under a line that says of what."""
    if faults := prove(protocol):
        raise Refused(*faults, head=head)
