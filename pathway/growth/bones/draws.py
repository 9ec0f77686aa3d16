"""Possible futures of both bones, drawn from what the visits said."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from pathway.growth.bones.evidence import Basis
from pathway.growth.bones.lengths import BoneDraws, progress
from pathway.growth.bones.unknowns import BoneView, Knowledge, bone_view
from pathway.growth.reference_curves import Floats
from pathway.growth.surgery import BONES
from pathway.protocol.model import Bone

_KNOTS_A_YEAR = 2
_GROWN_UP_YEARS = 20
_SMALL_PRODUCT = 200_000


@dataclass(frozen=True, slots=True, eq=False)
class _Course:
    """What all futures of one bone share: knots in years, the curve and the central departure at each."""

    view: BoneView
    knots: Floats
    clock: Floats
    loadings: Floats
    centre: Floats
    last: int
    at_last: int


class Futures:
    """Draws both bones; `normals` and `uniforms` say how many numbers of each kind a future takes."""

    def __init__(self, basis: Basis, knowledge: Knowledge) -> None:
        self.basis, self.knowledge, self.root = basis, knowledge, knowledge.root
        self.width = knowledge.frame.layout.width
        self.normals, self.uniforms = self.width + 2 * len(BONES), len(BONES)
        self.courses = {bone: self._course(bone) for bone in BONES}

    def centre(self) -> Mapping[Bone, BoneDraws]:
        """Return the one future in which nothing differs from what is most likely."""
        off, later = np.zeros((1, self.width)), np.zeros((1, 2))
        return {bone: self._bone(bone, off, later, np.zeros(1)) for bone in BONES}

    def bones(self, z: Floats, u: Floats) -> Mapping[Bone, BoneDraws]:
        """Return draws (2m,) from standard normal (m, normals) and uniform numbers (m, uniforms).

        Each draw has a mirror image, so that means and medians lie near the centre.
        """
        half = _product(self.root.astype(z.dtype), z[:, : self.width].T).T
        off = np.concatenate((half, -half))
        bones: dict[Bone, BoneDraws] = {}
        for k, bone in enumerate(BONES):
            later = z[:, self.width + 2 * k : self.width + 2 * k + 2]
            both = np.concatenate((later, -later))
            bones[bone] = self._bone(bone, off, both, np.concatenate((u[:, k], 1 - u[:, k])))
        return bones

    def _course(self, bone: Bone) -> _Course:
        frame = self.knowledge.frame
        last = self.basis.found[-1].age_years
        # A child read behind the calendar reaches the end of the tables that much later.
        end = _GROWN_UP_YEARS + max(-frame.shift_years, 0.0) + 1
        knots = np.arange(_GROWN_UP_YEARS * _KNOTS_A_YEAR + 1) / _KNOTS_A_YEAR
        # Years are enough before the last visit, where nothing more is to be foreseen.
        knots = knots[(knots > last) | (knots == np.floor(knots))]
        knots = np.unique(np.concatenate((knots, [end, last], list(frame.starts.values()))))
        loadings = frame.of.at(knots + frame.shift_years)[1]
        view = bone_view(frame, bone, [last])
        return _Course(
            view=view,
            knots=knots,
            clock=frame.curve.fraction(knots + frame.shift_years),
            loadings=loadings,
            centre=loadings @ self.knowledge.mean[frame.layout.departure(bone)],
            last=int(np.searchsorted(knots, last)),
            at_last=view.places([last])[0],
        )

    def _bone(self, bone: Bone, off: Floats, later: Floats, u: Floats) -> BoneDraws:
        basis, number, course, dtype = self.basis, self.basis.number, self.courses[bone], off.dtype
        layout, mean = self.knowledge.frame.layout, self.knowledge.mean
        grown = _product(course.loadings.astype(dtype), off[:, layout.departure(bone)].T)
        grown += course.centre[:, None].astype(dtype)
        np.negative(grown, out=grown)
        np.exp(grown, out=grown)
        grown *= course.clock[:, None].astype(dtype)
        most = _never_shrinking(grown, course.last)
        # The log alone needs double precision: a millionth of it is a thousandth of a millimetre.
        size = mean[layout.size(bone)] + off[:, layout.size(bone)].astype(np.float64)
        share = mean[layout.share(bone)] + off[:, layout.share(bone)]
        kept = share + mean[layout.drift(bone)] + off[:, layout.drift(bone)]
        kept_on = np.clip(kept + basis.later_drift_sd(bone) * later[:, 0], 0.0, number["growth_share_most"])
        mature = np.exp(size).astype(dtype) * most
        last = basis.found[-1].age_years
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
            loss=basis.loss(u).astype(dtype),
            overgrowth_mm=basis.overgrowth(later[:, 1]).astype(dtype),
            overgrowth_years=np.array([0.0, number["overgrowth_early_years"], number["overgrowth_end_years"]]),
            overgrowth_parts=np.array([0.0, number["overgrowth_early_share"], 1.0]),
        )
        return self._anchored(draws, off, share.astype(dtype), kept.astype(dtype))

    def _anchored(self, draws: BoneDraws, off: Floats, share: Floats, kept: Floats) -> BoneDraws:
        """Return the draws with the lengths of both legs at the last visit."""
        basis, course = self.basis, self.courses[draws.bone]
        curve, steps, shares = basis.curve, basis.steps, basis.shares
        start = self.knowledge.frame.starts[draws.bone]
        natural = draws.natural(curve, np.array([draws.long_age_years, start]))
        long = draws.mature_mm * progress(draws, "long", curve, steps, shares, natural)[:, 0]
        long = long + course.view.gains[0][course.at_last]
        # Length that the short bone gained otherwise than by growing.
        jumps = course.view.jumps[course.at_last]
        gained = course.view.gains[1][course.at_last] + jumps @ self.knowledge.mean + off @ jumps.astype(off.dtype)
        unslowed = replace(draws, loss=np.zeros_like(draws.loss))
        grown = progress(unslowed, "short", curve, steps, shares, natural)
        short = draws.mature_mm * (share * natural[:, 1] + kept * (grown[:, 0] - grown[:, 1])) + gained
        return replace(draws, long_mm=long.astype(share.dtype), short_mm=np.maximum(short, 0.0).astype(share.dtype))


def _product(matrix: Floats, draws: Floats) -> Floats:
    """Return matrix @ draws in blocks so small that no library splits them among threads.

    The threads would cost more than they save, and the same draws come out however many there are.
    """
    result = np.empty((len(matrix), draws.shape[1]), draws.dtype)
    block = max(_SMALL_PRODUCT // matrix.size, 1)
    for first in range(0, draws.shape[1], block):
        cut = slice(first, first + block)
        np.matmul(matrix, draws[:, cut], out=result[:, cut])
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
