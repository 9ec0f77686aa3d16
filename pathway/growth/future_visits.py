"""What visits to come will teach: how near the projection at each later decision will lie to the truth.

Linear and Gaussian about the central child, as `narrowing` is: each visit adds the information of a film with all
four bones. What the projection will say at the decisions is then a martingale that ends in the truth, so that it
follows from the share of the variance still open at each of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from pathway.growth.bones.evidence import arrest_ways
from pathway.growth.bones.mixture import ways_of
from pathway.growth.bones.unknowns import Frame, Knowledge, bone_view
from pathway.growth.posterior import Posterior
from pathway.growth.reference_curves import Floats
from pathway.growth.surgery import BONES, Step
from pathway.protocol.model import Protocol

_GROWN_UP_AFTER_YEARS = 4
_GRACE_YEARS = 1 / 24


@dataclass(frozen=True, slots=True, eq=False)
class Learning:
    """How much will be known at each of n decisions, in order of age.

    `open_share` (n,) is the share of the variance of the mature discrepancy that is still open then, from 1
    (nothing learnt) down; `gain_error_sd_mm` how far each lengthening to come may gain beside its record.
    """

    ages: Floats
    open_share: Floats
    gain_error_sd_mm: float


def learning(
    posterior: Posterior,
    protocol: Protocol,
    ages: Sequence[float],
    steps: Sequence[Step] = (),
    *,
    every_months: float | None = None,
) -> Learning:
    """Return what visits every so many months (None: as the rules say) teach until decisions at `ages` (years).

    `steps` are the operations planned. Ages must not fall; one before the first visit to come knows what is
    known now. Raises ValueError for a posterior that is only central, for falling ages or for visits that are
    not apart.
    """
    if posterior.known is None:
        raise ValueError("only a posterior fitted to visits can learn from more of them")
    months = protocol.number("next_visit_months") if every_months is None else every_months
    if months <= 0:
        raise ValueError(f"visits must lie apart, found {months:g} months")
    if any(later < earlier for earlier, later in pairwise(ages)):
        raise ValueError(f"the ages of the decisions must not fall, found {list(ages)}")
    knowledge = _with_planned(posterior, posterior.known, steps, protocol)
    last = max(ages, default=posterior.age_years)
    visits = posterior.age_years + months / 12 * np.arange(1, int(12 * (last - posterior.age_years) / months + 2))
    visits = visits[visits <= last + 1e-9]
    grown_up = max(posterior.mature_age_years + _GROWN_UP_AFTER_YEARS, last) + _GRACE_YEARS
    information, slope = _films(posterior, protocol, knowledge, visits, grown_up)
    precision = knowledge.precision.copy()
    rest = posterior.later_variance_mm2
    whole = float(slope @ np.linalg.solve(precision, slope)) + rest
    shares, done = [], 0
    for age in ages:
        upto = int(np.searchsorted(visits, age + 1e-9))
        precision += information[done:upto].sum(axis=0)
        done = upto
        towards = np.linalg.solve(precision, slope)
        shares.append((float(slope @ towards) + rest) / whole)
    gain_sd = protocol.number("lengthening_gain_error_sd_mm")
    return Learning(np.array(ages, float), np.minimum(np.array(shares), 1.0), gain_sd)


def estimates(
    learned: Learning,
    truth_mm: Floats,
    centre_mm: float,
    rng: np.random.Generator,
) -> Floats:
    """Return what the projection will say at each decision for each true draw: mm (m, n).

    `truth_mm` (m,) is what a draw comes to; `centre_mm` what the projection says today. The same state of `rng` gives
    the same values.
    """
    known = 1.0 - learned.open_share
    result = np.empty((len(truth_mm), len(known)))
    off = np.asarray(truth_mm, float) - centre_mm
    variance = float(np.mean(off**2))
    # A Brownian bridge walked backwards from the truth, with what is known as its clock.
    later, clock = off, 1.0
    for k in range(len(known) - 1, -1, -1):
        part = known[k] / clock if clock > 0 else 0.0
        spread = np.sqrt(max(variance * known[k] * (1.0 - part), 0.0))
        later = part * later + spread * rng.standard_normal(len(off))
        clock = known[k]
        result[:, k] = centre_mm + later
    return result


def _films(
    posterior: Posterior, protocol: Protocol, knowledge: Knowledge, visits: Floats, grown_up: float
) -> tuple[Floats, Floats]:
    """Return the information (v, n, n) that each visit to come adds and the slope (n,) of the mature discrepancy."""
    wander = protocol.number("bone_wander_sd")
    film = posterior.film_sd_mm**2 * np.eye(2)
    width = len(knowledge.mean)
    information, slope = np.zeros((len(visits), width, width)), np.zeros(width)
    for bone in BONES:
        view = bone_view(knowledge.frame, bone, [*visits, grown_up])
        long, short, long_slopes, short_slopes = view.lengths(knowledge.mean)
        places, end = view.places(list(visits)), view.places([grown_up])[0]
        rows = np.stack((long_slopes[places], short_slopes[places]), axis=1)
        mm = np.stack((long[places], short[places]), axis=1)
        weights = np.linalg.inv(film + wander**2 * mm[:, :, None] * mm[:, None, :])
        information += rows.transpose(0, 2, 1) @ weights @ rows
        slope = slope + long_slopes[end] - short_slopes[end]
    return information, slope


def _with_planned(posterior: Posterior, known: Knowledge, steps: Sequence[Step], protocol: Protocol) -> Knowledge:
    """Return the knowledge with what no visit has followed yet: errors of gain, and how arrests will work."""
    frame, layout = known.frame, known.frame.layout
    whole = (*posterior.known_steps, *steps)
    gains = tuple(s for s in whole if s.leg == "short" and s.adds_mm and s not in layout.jumps)
    arrests = tuple(s for s in whole if s.stops and s not in layout.arrests)
    wider = replace(layout, jumps=(*layout.jumps, *gains), arrests=(*layout.arrests, *arrests))
    precision = np.diag(np.full(wider.width, protocol.number("lengthening_gain_error_sd_mm") ** -2))
    mean = np.zeros(wider.width)
    efficacy = ways_of([arrest_ways(protocol)])
    for step in arrests:
        mean[wider.efficacy(step)], mean[wider.delay(step)] = efficacy.centre[0], protocol.number("arrest_delay_years")
        precision[wider.efficacy(step), wider.efficacy(step)] = 1 / efficacy.variance[0]
        late = protocol.number("arrest_delay_sd_years") ** -2
        precision[wider.delay(step), wider.delay(step)] = late
    # New arrests stand before what lengthenings gained.
    old = np.arange(layout.width)
    old[layout.special.stop :] += 2 * len(arrests)
    precision[np.ix_(old, old)] = known.precision
    mean[old] = known.mean
    planned: Frame = replace(frame, steps=(*frame.steps, *steps), layout=wider)
    return replace(known, frame=planned, mean=mean, precision=precision)
