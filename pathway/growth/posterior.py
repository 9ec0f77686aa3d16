"""What one child's visits say about the growth of each bone: many possible futures and a central one.

Every visit counts, each with the error of its method. The long leg departs from the reference curve as children
do; the short one keeps a share of its growth. With one visit the centre is the multiplier method; with many it
comes to the straight-line method's line.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pathway.days import age_years
from pathway.growth.adult_height import adult_height
from pathway.growth.bones.draws import Futures
from pathway.growth.bones.evidence import Basis, basis_of, known
from pathway.growth.bones.lengths import BoneDraws
from pathway.growth.bones.measured import readings
from pathway.growth.bones.unknowns import Knowledge
from pathway.growth.reference_curves import Floats, GrowthCurve
from pathway.growth.surgery import PlateShares, Step
from pathway.protocol.model import Bone
from pathway.protocol.question import Question


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """The child's growth from the last visit on, as draws.

    `bones` holds the draws of femur and tibia; `known_steps` the operations already done; `plates` each
    growth plate's share of its bone by age; `age_years` the age on the day of the projection; `mature_age_years`
    the central end of growth; `notes` plain sentences about what the projection rests on, `surprises` those
    about values to be checked; `adult_height_mm` draws of adult height where height was measured; `known` what
    the visits said of the unknowns; `film_sd_mm` the error of one length on a film and `later_variance_mm2`
    the part of the discrepancy's variance at maturity that no visit can take away.
    """

    curve: GrowthCurve
    bones: Mapping[Bone, BoneDraws]
    known_steps: tuple[Step, ...]
    plates: PlateShares
    age_years: float
    mature_age_years: float
    notes: tuple[str, ...]
    surprises: tuple[str, ...] = ()
    adult_height_mm: Floats | None = None
    known: Knowledge | None = None
    film_sd_mm: float = 0.0
    later_variance_mm2: float = 0.0
    middle: Posterior | None = None

    @property
    def draws(self) -> int:
        """Return the number of possible futures."""
        return len(self.bones["femur"].mature_mm)

    def central(self) -> Posterior:
        """Return the same with one draw at the central values: the deterministic projection."""
        return self if self.middle is None else self.middle

    def expecting(self, step: Step) -> Posterior:
        """Return the same with an operation to come that is sure enough to be counted in every projection."""
        middle = None if self.middle is None else self.middle.expecting(step)
        return replace(self, known_steps=(*self.known_steps, step), middle=middle)

    def one(self, draw: int) -> Posterior:
        """Return the same with one draw alone, as if that future were known: its own central projection."""
        return replace(self, bones={bone: of.one(draw) for bone, of in self.bones.items()}, middle=None)


def fit_growth(question: Question, *, seed: int = 0, known_steps: Sequence[Step] = ()) -> Posterior | None:
    """Return the growth of the child as known on the day `on`, or None when nothing was ever measured.

    `known_steps` are the operations already done. The same seed gives the same draws. Raises ValueError for
    lengths that cannot be.
    """
    found = readings(question)
    if not found:
        return None
    age = age_years(question.record.child.date_of_birth, question.on)
    basis = basis_of(question, found, tuple(step for step in known_steps if step.age_years <= age))
    knowledge, surprises = known(basis)
    futures = Futures(basis, knowledge)
    half = max(int(basis.number["growth_draws"]) // 2, 1)
    rng = np.random.default_rng(seed)
    normals = rng.standard_normal((half, futures.normals), dtype=np.float32)
    uniforms = rng.random((half, futures.uniforms), dtype=np.float32)
    height = adult_height(question)
    middle = Posterior(
        curve=basis.curve,
        bones=futures.centre(),
        known_steps=basis.steps,
        plates=basis.plates,
        age_years=age,
        mature_age_years=max(basis.curve.mature_age_years - basis.skeletal.shift_years, 0.0),
        notes=(*basis.notes, *surprises, *(height.notes if height else ())),
        surprises=surprises,
        adult_height_mm=np.array([height.size.centre_mm]) if height else None,
        known=knowledge,
        film_sd_mm=question.protocol.number("length_error_sd_mm"),
    )
    middle = replace(middle, later_variance_mm2=_later_variance(basis, middle.bones))
    bones = futures.bones(normals, uniforms)
    tall = None
    if height is not None:
        z = rng.standard_normal(half)
        tall = np.exp(height.size.mean_log + height.size.sd_log * np.concatenate((z, -z)))
    return replace(middle, bones=bones, adult_height_mm=tall, middle=middle)


def _later_variance(basis: Basis, bones: Mapping[Bone, BoneDraws]) -> float:
    """Return the variance in mm2 that a later change of the share of growth brings to the mature discrepancy."""
    total = 0.0
    for bone, draws in bones.items():
        left = float(draws.mature_mm[0] - draws.long_mm[0])
        total += (basis.later_drift_sd(bone) * max(left, 0.0)) ** 2
    return total
