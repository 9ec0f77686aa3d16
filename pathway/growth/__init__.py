"""Growth of both legs: reference curves, classical methods, one child's posterior and the years to come."""

from pathway.growth.bones.evidence import UNEXPECTED
from pathway.growth.left_to_grow import grown_from_years
from pathway.growth.method_opinions import Opinion, opinions
from pathway.growth.plausibility import growth_faults, growth_questions
from pathway.growth.population import Adult, Population, Recentring, Visits, adult_size, population
from pathway.growth.posterior import Posterior, fit_growth
from pathway.growth.projection import Outlook, What, arrest_takes, made_by_plate, outlook
from pathway.growth.reference_curves import GrowthCurve, growth_curve, pchip, stature_curve
from pathway.growth.surgery import BONES, PHYSES, Leg, Step
from pathway.growth.value_of_next_visit import Narrowing, narrowing

__all__ = [
    "BONES",
    "PHYSES",
    "UNEXPECTED",
    "Adult",
    "GrowthCurve",
    "Leg",
    "Narrowing",
    "Opinion",
    "Outlook",
    "Population",
    "Posterior",
    "Recentring",
    "Step",
    "Visits",
    "What",
    "adult_size",
    "arrest_takes",
    "fit_growth",
    "grown_from_years",
    "growth_curve",
    "growth_faults",
    "growth_questions",
    "made_by_plate",
    "narrowing",
    "opinions",
    "outlook",
    "pchip",
    "population",
    "stature_curve",
]
