"""Possible futures of both bones, drawn from what the visits said."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from pathway.growth.bones.evidence import Basis, arrest_ways
from pathway.growth.bones.lengths import BoneDraws, progress
from pathway.growth.bones.mixture import Way
from pathway.growth.bones.unknowns import BoneView, Knowledge, bone_view, product
from pathway.growth.reference_curves import Floats
from pathway.growth.surgery import BONES, Step
from pathway.protocol.model import Bone

Ints = npt.NDArray[np.intp]

_KNOTS_A_YEAR = 2
_GROWN_UP_YEARS = 20


@dataclass(frozen=True, slots=True, eq=False)
class _Course:
    """What all futures of one bone share: knots in years, the curve and the central departure at each.

    `design` (k, j) is how the log of the share grown turns with the unknowns at the places `moving` (j,).
    """

    view: BoneView
    knots: Floats
    clock: Floats
    design: Floats
    moving: Ints
    centre: Floats
    last: int
    at_last: int


class Futures:
    """Draws both bones; `normals` and `uniforms` say how many numbers of each kind a future takes."""

    def __init__(self, basis: Basis, knowledge: Knowledge) -> None:
        self.basis, self.knowledge = basis, knowledge
        self.width = knowledge.frame.layout.width
        # Per bone: a later change, overgrowth and the efficacy of an arrest; for both the delay of an arrest.
        self.normals, self.uniforms = self.width + 4 * len(BONES) + 1, 2 * len(BONES) + 2
        self.courses = {bone: self._course(bone) for bone in BONES}

    def centre(self) -> Mapping[Bone, BoneDraws]:
        """Return the one future in which nothing differs from what is likeliest.

        What a lengthening to come may cost in growth is left out: amounts are planned as if each works, and the
        futures say what usually happens.
        """
        off = np.zeros((1, self.width))
        return {bone: self._bone(bone, off, _Later(self.basis, bone)) for bone in BONES}

    def bones(self, z: Floats, u: Floats) -> Mapping[Bone, BoneDraws]:
        """Return draws (2m,) from standard normal (m, normals) and uniform numbers (m, uniforms).

        Each draw has a mirror image, so that means and medians lie near the centre.
        """
        z, u = np.concatenate((z, -z)), np.concatenate((u, 1 - u))
        off = self.knowledge.draw(z[:, : self.width], u[:, 0])
        bones: dict[Bone, BoneDraws] = {}
        for k, bone in enumerate(BONES):
            own = [*range(self.width + 4 * k, self.width + 4 * k + 4), self.normals - 1]
            bones[bone] = self._bone(bone, off, _Later(self.basis, bone, z[:, own], u[:, [1, 2 + 2 * k, 3 + 2 * k]]))
        return bones

    def _course(self, bone: Bone) -> _Course:
        frame = self.knowledge.frame
        last = self.basis.found[-1].age_years
        # A child read behind the calendar reaches the end of the tables that much later.
        end = _GROWN_UP_YEARS + max(-frame.shift_years, 0.0) + 1
        knots = np.arange(_GROWN_UP_YEARS * _KNOTS_A_YEAR + 1) / _KNOTS_A_YEAR
        # Years are enough before the last visit, where nothing more is to be foreseen.
        arrested = min((step.age_years for step in frame.layout.arrests), default=last)
        knots = knots[(knots > min(last, arrested)) | (knots == np.floor(knots))]
        knots = np.array(sorted({*knots.tolist(), end, last, *frame.starts.values()}))
        design = frame.design(bone, knots)
        design[:, frame.layout.size(bone)] = 0.0
        moving = np.flatnonzero(design.any(axis=0))
        view = bone_view(frame, bone, [last])
        return _Course(
            view=view,
            knots=knots,
            clock=frame.curve.fraction(knots + frame.shift_years),
            design=design[:, moving],
            moving=moving,
            centre=design @ self.knowledge.mean,
            last=int(np.searchsorted(knots, last)),
            at_last=view.places([last])[0],
        )

    def _bone(self, bone: Bone, off: Floats, later: _Later) -> BoneDraws:
        basis, number, course, dtype = self.basis, self.basis.number, self.courses[bone], off.dtype
        layout, mean = self.knowledge.frame.layout, self.knowledge.mean
        grown = product(course.design.astype(dtype), off[:, course.moving].T)
        grown += course.centre[:, None].astype(dtype)
        np.exp(grown, out=grown)
        grown *= course.clock[:, None].astype(dtype)
        most = _never_shrinking(grown, course.last)
        # The log alone needs double precision: a millionth of it is a thousandth of a millimetre.
        size = mean[layout.size(bone)] + off[:, layout.size(bone)].astype(np.float64)
        share = mean[layout.share(bone)] + off[:, layout.share(bone)]
        kept = share + mean[layout.drift(bone)] + off[:, layout.drift(bone)]
        kept_on = np.clip(kept + later.drift, 0.0, number["growth_share_most"])
        mature = np.exp(size).astype(dtype) * most
        last = basis.found[-1].age_years
        learned = np.minimum(mean[layout.loss(bone)] + off[:, layout.loss(bone)], 1.0).astype(dtype)
        # What has been seen of one lengthening goes for the next of the same bone; the centre plans as if each works.
        seen = bone in basis.lengthened
        to_come = learned if seen and later.drawn else np.minimum(later.loss, 1.0).astype(dtype)
        draws = BoneDraws(
            bone=bone,
            mature_mm=mature,
            knots=course.knots,
            clock=course.clock,
            grown=grown,
            shift_years=self.knowledge.frame.shift_years,
            long_age_years=last,
            long_mm=mature,
            short_age_years=last,
            short_mm=mature,
            share_kept=kept_on.astype(dtype),
            loss=to_come,
            overgrowth_mm=basis.overgrowth(later.overgrowth).astype(dtype),
            overgrowth_years=np.array([0.0, number["overgrowth_early_years"], number["overgrowth_end_years"]]),
            overgrowth_parts=np.array([0.0, number["overgrowth_early_share"], 1.0]),
            efficacy=np.clip(later.efficacy, 0.0, 1.0).astype(dtype),
            delay_years=np.maximum(later.delay_years, 0.0).astype(dtype),
            arrested={step: self._arrested(step, off) for step in layout.arrests if step.bone == bone},
            slowed={step: learned for step in basis.steps if seen and step.bone == bone and step.lengthens},
        )
        return self._anchored(draws, off, share.astype(dtype), kept.astype(dtype))

    def _arrested(self, step: Step, off: Floats) -> tuple[Floats, Floats]:
        """Return efficacy and delay (years) of an arrest that was done, as the visits since have shown them."""
        layout, mean = self.knowledge.frame.layout, self.knowledge.mean
        keeps, late = (mean[at] + off[:, at] for at in (layout.efficacy(step), layout.delay(step)))
        return np.clip(keeps, 0.0, 1.0).astype(off.dtype), np.maximum(late, 0.0).astype(off.dtype)

    def _anchored(self, draws: BoneDraws, off: Floats, share: Floats, kept: Floats) -> BoneDraws:
        """Return the draws with the lengths of both legs at the last visit."""
        basis, course = self.basis, self.courses[draws.bone]
        curve, steps, plates = basis.curve, basis.steps, basis.plates
        start = self.knowledge.frame.starts[draws.bone]
        ages = np.array([draws.long_age_years, start])
        natural = draws.natural(curve, ages)
        long = draws.mature_mm * progress(draws, "long", curve, steps, plates, ages, natural)[:, 0]
        long = long + course.view.gains[0][course.at_last]
        # Length that the short bone gained otherwise than by growing.
        jumps = course.view.jumps[course.at_last]
        gained = course.view.gains[1][course.at_last] + jumps @ self.knowledge.mean + off @ jumps.astype(off.dtype)
        grown = progress(draws, "short", curve, steps, plates, ages, natural)
        short = draws.mature_mm * (share * natural[:, 1] + kept * (grown[:, 0] - grown[:, 1])) + gained
        return replace(draws, long_mm=long.astype(share.dtype), short_mm=np.maximum(short, 0.0).astype(share.dtype))


class _Later:
    """What no visit so far can say of one bone, from normals (m, 5) and uniform numbers (m, 3), or in the mean."""

    def __init__(self, basis: Basis, bone: Bone, z: Floats | None = None, u: Floats | None = None) -> None:
        number = basis.number
        self.drift: Floats
        self.overgrowth: Floats
        self.loss: Floats
        self.efficacy: Floats
        self.delay_years: Floats
        loss, kept, delay = basis.loss_ways(bone), arrest_ways(basis.protocol), number["arrest_delay_years"]
        late, redone = number["arrest_redone_after_years"], number["arrest_redone_chance"]
        self.drawn = z is not None
        if z is None or u is None:
            self.drift, self.overgrowth, self.loss = np.zeros(1), np.zeros(1), np.zeros(1)
            self.efficacy, self.delay_years = np.array([_likeliest(kept)]), np.array([delay])
            return
        self.drift = basis.later_drift_sd(bone) * z[:, 0]
        self.overgrowth = z[:, 1]
        self.loss, self.efficacy = _drawn(loss, z[:, 2], u[:, 1]), _drawn(kept, z[:, 3], u[:, 2])
        self.delay_years = np.maximum(delay + number["arrest_delay_sd_years"] * z[:, 4], 0.0)
        # An arrest that fails is done again and works from then on.
        self.delay_years += np.where(u[:, 0] < redone, late, 0.0)


def _likeliest(ways: Sequence[Way]) -> float:
    """Return the mean of the way with the largest chance."""
    return max(ways)[1]


def _drawn(ways: Sequence[Way], z: Floats, u: Floats) -> Floats:
    chance, mean, sd = np.array(ways).T
    which = np.minimum(np.searchsorted(np.cumsum(chance) / chance.sum(), u), len(ways) - 1)
    result: Floats = mean[which] + sd[which] * z
    return result


def _never_shrinking(grown: Floats, last: int) -> Floats:
    """Make fractions (k, m) of mature length rise with age, in place, and return what mature length grew by (m,).

    No bone ends shorter than it was at the last visit (row `last`), and none was longer before than there.
    """
    most: Floats = np.maximum(grown[last], 1.0)
    inverse = 1 / most
    for row in grown:
        row *= inverse
        np.minimum(row, 1.0, out=row)
    for k in range(last + 1, len(grown)):
        np.maximum(grown[k], grown[k - 1], out=grown[k])
    for k in range(last - 1, -1, -1):
        np.minimum(grown[k], grown[k + 1], out=grown[k])
    grown[-1] = 1.0
    return most
