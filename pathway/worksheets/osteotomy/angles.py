"""The neck-shaft angle as a front film shows it, and as it is: projection onto the film and back.

`turned_out_deg` is how far the leg was turned outward from the kneecap to the front, `hip_flexed_deg` how far the
thigh was lifted from the plane of the film. Degrees throughout.
"""

from __future__ import annotations

import math

from pathway.record import Side
from pathway.worksheets.osteotomy.frames import (
    STRAIGHT_DEG,
    NeckAngles,
    extension,
    inward,
    neck_axis,
)

END_ON_DEG = 90.0


class NotShown(ValueError):
    """The film cannot show the angle: the neck points along the ray, or the thigh does."""


def apparent_deg(
    angles: NeckAngles, turned_out_deg: float = 0.0, hip_flexed_deg: float = 0.0, side: Side = "left"
) -> float:
    """Return the neck-shaft angle that a front film shows.

    With the thigh in the plane of the film tan b' = tan b cos(version + rotation), b = 180 - angle; flexed by f
    cot b' = (cot b cos f + sin v sin f) / cos v. Here by turning the neck's vector, which is finite at every angle.
    """
    # Turning the leg outward carries the neck to the front, as a higher version would.
    seen = extension(hip_flexed_deg) @ inward(turned_out_deg, side) @ neck_axis(angles, side)
    return STRAIGHT_DEG - math.degrees(math.atan2(abs(float(seen[0])), float(seen[2])))


def true_deg(shown_deg: float, version_deg: float, turned_out_deg: float = 0.0, hip_flexed_deg: float = 0.0) -> float:
    """Return the true neck-shaft angle behind the one that a front film shows.

    Raises NotShown where version and rotation together, or the flexion, reach 90 degrees: the film then shows the
    neck or the thigh end-on.
    """
    turned = version_deg + turned_out_deg
    if abs(turned) >= END_ON_DEG:
        raise NotShown(f"version and outward rotation of {turned:g} deg together")
    if abs(hip_flexed_deg) >= END_ON_DEG:
        raise NotShown(f"a hip flexed by {hip_flexed_deg:g} deg")
    lean, v, f = (math.radians(angle) for angle in (STRAIGHT_DEG - shown_deg, turned, hip_flexed_deg))
    across = math.sin(lean) * math.cos(f)
    up = math.cos(lean) * math.cos(v) - math.sin(lean) * math.sin(v) * math.sin(f)
    return STRAIGHT_DEG - math.degrees(math.atan2(across, up))


def inclination_deg(angles: NeckAngles) -> float:
    """Return by how much the neck stands out of the frontal plane: sin i = sin b sin v. It is not the version."""
    neck = neck_axis(angles, "left")
    return math.degrees(math.asin(max(-1.0, min(1.0, float(neck[1])))))
