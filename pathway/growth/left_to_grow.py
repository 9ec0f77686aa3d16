"""What a bone of the short leg is still to grow: the age from which it is little."""

from __future__ import annotations

from typing import Literal

import numpy as np

from pathway.growth.posterior import Posterior
from pathway.growth.projection import outlook

_STEP_YEARS = 1 / 12
_LAST_YEARS = 21.0


def grown_from_years(posterior: Posterior, bone: Literal["femur", "tibia"], left_mm: float) -> float:
    """Return the age from which a bone of the short leg is to grow no more than so much, on the central projection.

    That of the projection's own day where it is so already.
    """
    now = posterior.age_years
    last = max(_LAST_YEARS, posterior.mature_age_years, now)
    ages = np.arange(now, last + _STEP_YEARS, _STEP_YEARS)
    lengths = outlook(posterior.central(), (), ages).lengths("short_femur" if bone == "femur" else "short_tibia")[0]
    return float(ages[int(np.argmax(lengths >= lengths[-1] - left_mm))])
