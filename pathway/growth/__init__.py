"""Growth of both legs: reference curves, classical methods, one child's posterior and the years to come."""

from pathway.growth.checks import growth_faults, growth_questions
from pathway.growth.child import UNEXPECTED
from pathway.growth.curves import GrowthCurve, growth_curve, pchip, stature_curve
from pathway.growth.opinions import Opinion, opinions
from pathway.growth.outlook import Outlook, What, outlook
from pathway.growth.population import Adult, Population, Visits, adult_size, population
from pathway.growth.posterior import Posterior, fit_growth
from pathway.growth.steps import BONES, PHYSES, Leg, Step
from pathway.growth.waiting import Narrowing, narrowing

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
    "Step",
    "Visits",
    "What",
    "adult_size",
    "fit_growth",
    "growth_curve",
    "growth_faults",
    "growth_questions",
    "narrowing",
    "opinions",
    "outlook",
    "pchip",
    "population",
    "stature_curve",
]
