"""The growth projection as plan data."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

import numpy as np

from pathway.days import age_years, day_at_age
from pathway.growth import Opinion, Outlook, Posterior, What, narrowing
from pathway.plan import model as pm
from pathway.protocol.model import Protocol
from pathway.record import Record
from pathway.rule_engine.findings import current_discrepancy

LEVELS = (0.05, 0.25, 0.5, 0.75, 0.95)


def quantiles(draws: np.ndarray) -> pm.Quantiles:
    """Return the five quantiles of draws (m,), mm rounded to a tenth."""
    p05, p25, p50, p75, p95 = (round(float(q), 1) for q in np.quantile(draws, LEVELS))
    return pm.Quantiles(p05=p05, p25=p25, p50=p50, p75=p75, p95=p95)


def growth_part(
    record: Record,
    protocol: Protocol,
    posterior: Posterior | None,
    natural: Outlook | None,
    with_plan: Outlook | None,
    central: Outlook | None,
    methods: Sequence[Opinion],
    mature_age_years: float,
) -> pm.GrowthPart:
    """Return the growth projection as plan data; without a posterior only what was measured."""
    born = record.child.date_of_birth
    measured = [(visit.date, current_discrepancy(visit, record)) for visit in record.visits]
    part = pm.GrowthPart(
        mature_age_years=round(mature_age_years, 2),
        maturity_date=day_at_age(born, mature_age_years),
        curve=posterior.curve.name if posterior else "",
        basis=" ".join(posterior.notes) if posterior else "No length was measured.",
        at_maturity=None,
        measured=tuple(
            pm.MeasuredPoint(age_years=round(age_years(born, day), 3), date=day, discrepancy_mm=round(mm, 1))
            for day, mm in measured
            if mm is not None
        ),
        methods=tuple(
            pm.MethodOpinion(
                name=item.name,
                discrepancy_at_maturity_mm=_rounded(item.discrepancy_at_maturity_mm),
                note=item.note,
                source="; ".join(protocol.source(source).citation for source in item.sources),
            )
            for item in methods
        ),
        notes=posterior.notes if posterior else (),
    )
    if posterior is None or natural is None or with_plan is None or central is None:
        return part
    return part.model_copy(
        update={
            "at_maturity": pm.Maturity(
                discrepancy_mm=quantiles(natural.at_maturity("discrepancy")),
                long_leg_mm=quantiles(natural.at_maturity("long_leg")),
                short_leg_mm=quantiles(natural.at_maturity("short_leg")),
            ),
            "by_age": _by_age(born, natural, with_plan, central),
            "adult_height_mm": None if posterior.adult_height_mm is None else quantiles(posterior.adult_height_mm),
            "next_visit": _next_visit(posterior, protocol),
        }
    )


def _next_visit(posterior: Posterior, protocol: Protocol) -> str:
    """Return what one more film would tell; nothing once growth has ended: no film is asked for it any more."""
    if posterior.age_years >= posterior.mature_age_years:
        return ""
    return narrowing(posterior, protocol.number("next_visit_months")).sentence


def _rounded(mm: float | None) -> float | None:
    return None if mm is None else round(mm, 1)


def _by_age(born: datetime.date, natural: Outlook, with_plan: Outlook, central: Outlook) -> tuple[pm.AgePoint, ...]:
    without, planned = natural.bands(LEVELS), with_plan.bands(LEVELS)
    grown, last = quantiles(natural.at_maturity("discrepancy")), len(natural.age_years) - 1
    names: tuple[What, ...] = ("long_leg", "short_leg", "short_femur", "short_tibia", "long_femur", "long_tibia")
    lengths = {name: central.lengths(name)[0] for name in names}

    def spread(bands: np.ndarray, k: int) -> pm.Quantiles:
        p05, p25, p50, p75, p95 = (round(float(q), 1) for q in bands[:, k])
        return pm.Quantiles(p05=p05, p25=p25, p50=p50, p75=p75, p95=p95)

    return tuple(
        pm.AgePoint(
            age_years=round(float(age), 3),
            date=day_at_age(born, float(age)),
            # The curve ends where growth has ended in every draw, as the plan says it of maturity.
            discrepancy_mm=grown if k == last else spread(without, k),
            with_plan_mm=spread(planned, k),
            long_leg_mm=round(float(lengths["long_leg"][k]), 1),
            short_leg_mm=round(float(lengths["short_leg"][k]), 1),
            short_femur_mm=round(float(lengths["short_femur"][k]), 1),
            short_tibia_mm=round(float(lengths["short_tibia"][k]), 1),
            long_femur_mm=round(float(lengths["long_femur"][k]), 1),
            long_tibia_mm=round(float(lengths["long_tibia"][k]), 1),
        )
        for k, age in enumerate(natural.age_years)
    )
