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

from pathway.growth.bones.unknowns import BoneView, Frame, Knowledge, Layout, bone_view
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
    (nothing learnt) down; `loss_seen` (n,) the part of a slower growth after lengthening that the projection
    will have taken in; `gain_error_sd_mm` how far each lengthening to come may gain beside its record.
    """

    ages: Floats
    open_share: Floats
    loss_seen: Floats
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
    gain_sd = protocol.number("lengthening_gain_error_sd_mm")
    knowledge = _with_jumps(posterior, posterior.known, steps, gain_sd)
    last = max(ages, default=posterior.age_years)
    visits = posterior.age_years + months / 12 * np.arange(1, int(12 * (last - posterior.age_years) / months + 2))
    visits = visits[visits <= last + 1e-9]
    grown_up = max(posterior.mature_age_years + _GROWN_UP_AFTER_YEARS, last) + _GRACE_YEARS
    films = _films(posterior, protocol, knowledge, visits, grown_up)
    precision, drawn = knowledge.precision.copy(), np.zeros(len(knowledge.mean))
    rest = posterior.later_variance_mm2
    whole = float(films.slope @ np.linalg.solve(precision, films.slope)) + rest
    shares, seen, done = [], [], 0
    for age in ages:
        upto = int(np.searchsorted(visits, age + 1e-9))
        precision += films.information[done:upto].sum(axis=0)
        drawn += films.pull[done:upto].sum(axis=0)
        done = upto
        towards = np.linalg.solve(precision, films.slope)
        shares.append((float(films.slope @ towards) + rest) / whole)
        seen.append(float(towards @ drawn) / films.loss_mm if films.loss_mm > 0 else 0.0)
    return Learning(np.array(ages, float), np.minimum(np.array(shares), 1.0), np.array(seen), gain_sd)


def estimates(
    learned: Learning,
    truth_mm: Floats,
    centre_mm: float,
    rng: np.random.Generator,
    *,
    loss_mm: Floats | None = None,
) -> Floats:
    """Return what the projection will say at each decision for each true draw: mm (m, n).

    `truth_mm` (m,) is what a draw comes to without slower growth after lengthening, with its error of gain;
    `centre_mm` what the projection says today; `loss_mm` (m,) what slower growth adds. The same state of `rng`
    gives the same values.
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
    if loss_mm is not None:
        result += np.asarray(loss_mm, float)[:, None] * learned.loss_seen
    return result


@dataclass(frozen=True, slots=True, eq=False)
class _Films:
    """What each visit to come adds: information (v, n, n), and `pull` (v, n) by a loss of growth that nobody expects.

    `slope` (n,) of the mature discrepancy, and `loss_mm` what that loss makes of it.
    """

    information: Floats
    pull: Floats
    slope: Floats
    loss_mm: float


def _films(posterior: Posterior, protocol: Protocol, knowledge: Knowledge, visits: Floats, grown_up: float) -> _Films:
    wander = protocol.number("bone_wander_sd")
    film = posterior.film_sd_mm**2 * np.eye(2)
    width = len(knowledge.mean)
    information, pull = np.zeros((len(visits), width, width)), np.zeros((len(visits), width))
    slope, whole = np.zeros(width), 0.0
    for bone in BONES:
        anchor = float(posterior.bones[bone].short_age_years)
        view = bone_view(knowledge.frame, bone, [*visits, grown_up, anchor])
        long, short, long_slopes, short_slopes = view.lengths(knowledge.mean)
        places, end = view.places(list(visits)), view.places([grown_up])[0]
        rows = np.stack((long_slopes[places], short_slopes[places]), axis=1)
        mm = np.stack((long[places], short[places]), axis=1)
        weights = np.linalg.inv(film + wander**2 * mm[:, :, None] * mm[:, None, :])
        weighted = rows.transpose(0, 2, 1) @ weights
        information += weighted @ rows
        lost = _lost(view, knowledge, anchor)
        pull += weighted[:, :, 1] * -lost[places][:, None]
        slope = slope + long_slopes[end] - short_slopes[end]
        whole += float(lost[end])
    return _Films(information, pull, slope, whole)


def _lost(view: BoneView, knowledge: Knowledge, anchor: float) -> Floats:
    """Return what the short bone would be behind at each age of the view if every lengthening stopped its growth."""
    layout = knowledge.frame.layout
    alone = np.exp(view.base + view.design @ knowledge.mean)
    kept = knowledge.mean[layout.share(view.bone)] + knowledge.mean[layout.drift(view.bone)]
    behind = np.zeros(len(view.ages))
    for step in knowledge.frame.steps_on("short", view.bone):
        if step.adds_mm and step.by_distraction:
            start = view.places([max(step.age_years, anchor)])[0]
            behind += kept * np.maximum(alone - alone[start], 0.0)
    return behind


def _with_jumps(posterior: Posterior, known: Knowledge, steps: Sequence[Step], sd_mm: float) -> Knowledge:
    """Return the knowledge with the errors of gain of the lengthenings that no visit has followed yet."""
    frame, layout = known.frame, known.frame.layout
    new = tuple(
        step
        for step in (*posterior.known_steps, *steps)
        if step.leg == "short" and step.adds_mm and step not in layout.jumps
    )
    wider = Layout(layout.factors, (*layout.jumps, *new))
    precision = np.diag(np.full(wider.width, sd_mm**-2))
    precision[: layout.width, : layout.width] = known.precision
    mean = np.concatenate((known.mean, np.zeros(len(new))))
    whole: Frame = replace(frame, steps=(*frame.steps, *steps), layout=wider)
    return replace(known, frame=whole, mean=mean, precision=precision)
