"""Growth of both legs: reference curves, classical methods, one child's posterior and the years to come."""

from pathway.growth.curves import GrowthCurve, growth_curve, pchip
from pathway.growth.opinions import Opinion, opinions
from pathway.growth.outlook import Outlook, What, outlook
from pathway.growth.posterior import Posterior, fit_growth
from pathway.growth.steps import BONES, PHYSES, Leg, Step

__all__ = [
    "BONES",
    "PHYSES",
    "GrowthCurve",
    "Leg",
    "Opinion",
    "Outlook",
    "Posterior",
    "Step",
    "What",
    "fit_growth",
    "growth_curve",
    "opinions",
    "outlook",
    "pchip",
]
