"""School years that a device touches, for the cost of a lengthening."""

from __future__ import annotations

import numpy as np

from pathway.courses.policy.programme import Floats


def school_years_touched(age_years: Floats, device_months: Floats, from_years: float, to_years: float) -> Floats:
    """Return how many school years a device touches that goes on at an age and stays so many months.

    Arrays of any shapes that fit together; the result has their common shape. None before school and after it; of
    those months that lie within school each twelve are a year, and any of them at least one.
    """
    start = np.asarray(age_years, np.float64)
    end = start + np.asarray(device_months, np.float64) / 12
    within = np.minimum(end, to_years) - np.maximum(start, from_years)
    touched: Floats = np.where(within > 0, np.maximum(within, 1.0), 0.0)
    return touched
