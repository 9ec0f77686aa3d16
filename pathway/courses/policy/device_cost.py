"""What a month with a device weighs, by the device that is usual for the bone at the age."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from pathway.courses.policy.programme import Floats
from pathway.protocol.model import Bone


def device_month_weight(bone: Bone, age_years: Floats, number: Callable[[str], float]) -> Floats:
    """Return by age (any shape) what a month with a device weighs, in operations.

    That of a frame until the age from which a nail is usual in the bone, that of a nail from then on; `number` gives
    the values of the rules.
    """
    weight: Floats = np.where(
        np.asarray(age_years) >= number(f"nail_from_years_{bone}"),
        number("weigh_nail_month"),
        number("weigh_frame_month"),
    )
    return weight
