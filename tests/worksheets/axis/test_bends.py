"""Legs built with known bends come back: which bone, how much, where, one or two, and in which plane."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest

from pathway.worksheets.axis.bends import BoneAxis, cut_at, front_axes, oblique, open_wedge_mm, side_axes
from pathway.worksheets.axis.landmarks import Leg, joint_angles, read_again
from tests.worksheets.axis.built_leg import (
    BELOW_FEMUR,
    BELOW_TIBIA,
    FEMUR_MM,
    LDTA,
    MLDFA,
    MLPFA,
    MPTA,
    NORMALS,
    TIBIA_MM,
    Built,
    leg_of,
    straight,
    way,
)

LEAST_DEG = 2.0
LEGS = 500
ERROR_MM = 1.0
DRAWS = 200


def axes(leg: Leg) -> tuple[BoneAxis, BoneAxis]:
    return front_axes(leg, NORMALS, LEAST_DEG)


def bent_femur(angle: float, level: float) -> Built:
    """A bend on the mechanical axis so far above the knee; the shaft is marked above it."""
    built = straight(femur_at=(0.1, 0.3))
    built.turn(-1j * (FEMUR_MM - level), angle, BELOW_FEMUR, 2, 0)
    return built


def bent_tibia(angle: float, level: float) -> Built:
    built = straight()
    built.turn(-1j * FEMUR_MM - 2j + way(MLDFA - MPTA) * level, angle, BELOW_TIBIA, 0, 0)
    return built


def two_bends(bone: str, upper: float, lower: float) -> Built:
    """Two bends between three pieces of one shaft, at two fifths and at two thirds of its length."""
    at = (0.05, 0.3, 0.45, 0.6, 0.75, 0.95)
    built = straight(femur_at=at) if bone == "femur" else straight(tibia_at=at)
    shaft = built.femur if bone == "femur" else built.tibia
    places = [shaft[0] + (shaft[-1] - shaft[0]) * share for share in (0.35, 0.69)]
    below, tibia = (BELOW_FEMUR, False) if bone == "femur" else (BELOW_TIBIA, True)
    built.turn(places[1], lower, below, 99 if tibia else 4, 4 if tibia else 0)
    built.turn(places[0], upper, below, 99 if tibia else 2, 2 if tibia else 0)
    return built


def in_space(bone: str, angle_deg: float, plane_deg: float) -> tuple[Built, dict[str, list[complex]]]:
    """One bend in a plane turned so far from the front plane, and how the side film shows the shaft."""
    angle, plane = math.radians(angle_deg), math.radians(plane_deg)
    down = (math.sin(angle) * math.cos(plane), math.sin(angle) * math.sin(plane), -math.cos(angle))
    front, side = (math.degrees(math.atan2(part, -down[2])) for part in down[:2])
    at = (0.05, 0.4, 0.6, 0.95)
    built = straight(femur_at=at) if bone == "femur" else straight(tibia_at=at)
    shaft = built.femur if bone == "femur" else built.tibia
    tibia = bone == "tibia"
    below = BELOW_TIBIA if tibia else BELOW_FEMUR
    built.turn((shaft[1] + shaft[2]) / 2, front, below, 99 if tibia else 2, 2 if tibia else 0)
    long = TIBIA_MM if tibia else FEMUR_MM
    seen = [complex(0, -long * share) for share in at]
    apex = (seen[1] + seen[2]) / 2
    seen[2:] = [apex + (point - apex) * cmath.rect(1, math.radians(side)) for point in seen[2:]]
    return built, {bone: seen}


def misread(leg: Leg, seed: int) -> Leg:
    """Return the leg as somebody marked it once, with the readings that the sheet makes of that."""
    once = read_again(leg, 1, ERROR_MM, 50_000 + seed)

    def pieces(of):
        return {bone: tuple((p[1:], q[1:]) for p, q in some) for bone, some in of.items()}

    marked = Leg({n: p[1:] for n, p in once.points.items()}, pieces(once.shafts), pieces(once.side_shafts))
    return read_again(marked, DRAWS, ERROR_MM, seed)


class TestStraight:
    """A straight leg of usual joint angles has no deformity."""

    def test_its_joint_angles_are_the_usual_ones(self) -> None:
        found = {name: float(value[0]) for name, value in joint_angles(leg_of(straight())).items()}
        wanted = {"mldfa_deg": MLDFA, "mpta_deg": MPTA, "ldta_deg": LDTA, "mlpfa_deg": MLPFA, "jlca_deg": 0.0}
        assert {name: found[name] for name in wanted} == pytest.approx(wanted)

    @pytest.mark.parametrize("shafts", [((), ()), ((0.1, 0.3), ()), ((0.1, 0.3, 0.5, 0.7), (0.1, 0.4, 0.6, 0.9))])
    def test_no_bone_has_a_bend(self, shafts) -> None:
        for bone in axes(leg_of(straight(*shafts))):
            assert bone.bends == ()
            assert bone.whole_deg is not None
            assert float(bone.whole_deg[0]) == pytest.approx(0, abs=1e-9)

    def test_read_again_with_an_error_it_is_called_straight_in_19_of_20(self) -> None:
        leg = leg_of(straight((0.1, 0.3), (0.1, 0.4, 0.6, 0.9)))
        rows = read_again(leg, 400, ERROR_MM, 1)
        called = 0
        for at in range(1, 401):
            points = {name: point[at : at + 1] for name, point in rows.points.items()}
            shafts = {b: tuple((p[at : at + 1], q[at : at + 1]) for p, q in some) for b, some in rows.shafts.items()}
            seen = read_again(Leg(points, shafts, {}), 60, ERROR_MM, at)
            called += any(bone.bends for bone in axes(seen))
        # Five turns are looked at, each with its own 1 of 100.
        assert called <= 0.05 * 400


class TestOneApex:
    """A bend on the mechanical axis: its size and its level exactly, in either bone, varus and valgus."""

    @pytest.mark.parametrize("angle", [-30, -12, -5, 5, 12, 30])
    @pytest.mark.parametrize("level", [40.0, 120.0, 190.0])
    def test_of_the_femur(self, angle: float, level: float) -> None:
        femur, tibia = axes(leg_of(bent_femur(angle, level)))
        (bend,) = femur.bends
        assert tibia.bends == ()
        assert float(bend.turn_deg[0]) == pytest.approx(angle)
        assert float(bend.from_knee_mm[0]) == pytest.approx(level)

    @pytest.mark.parametrize("angle", [-30, -12, -5, 5, 12, 30])
    @pytest.mark.parametrize("level", [20.0, 100.0, 180.0])
    def test_of_the_tibia(self, angle: float, level: float) -> None:
        femur, tibia = axes(leg_of(bent_tibia(angle, level)))
        (bend,) = tibia.bends
        assert femur.bends == ()
        assert float(bend.turn_deg[0]) == pytest.approx(angle)
        assert float(bend.from_knee_mm[0]) == pytest.approx(level)

    def test_the_joint_angles_tell_which_bone(self) -> None:
        """Varus of the femur opens mLDFA, varus of the tibia closes MPTA; varus of the leg is their sum with JLCA."""
        of_femur = joint_angles(leg_of(bent_femur(15, 80)))
        assert float(of_femur["mldfa_deg"][0]) > MLDFA + 3
        assert float(of_femur["mpta_deg"][0]) == pytest.approx(MPTA)
        assert float(of_femur["mad_mm"][0]) < 0  # varus: the axis passes medially, and lateral is positive
        of_tibia = joint_angles(leg_of(bent_tibia(15, 80)))
        assert float(of_tibia["mpta_deg"][0]) < MPTA - 3
        assert float(of_tibia["mldfa_deg"][0]) == pytest.approx(MLDFA)


class TestTwoApices:
    """Two bends of one bone, by the pieces of its shaft; what is left lies at the joint."""

    def test_of_the_femur_by_three_pieces(self) -> None:
        built = straight(femur_at=(0.05, 0.2, 0.4, 0.55, 0.75, 0.9))
        upper, lower = (built.femur[0] + way(7) * FEMUR_MM * at for at in (0.25, 0.6))
        built.turn(lower, -14, BELOW_FEMUR, 4, 0)
        built.turn(upper, 20, BELOW_FEMUR, 2, 0)
        femur, _ = axes(leg_of(built))
        assert [float(one.turn_deg[0]) for one in femur.bends] == pytest.approx([20, -14])
        found = complex(*femur.bends[0].point[0])
        assert found == pytest.approx(upper)
        assert not femur.turns[-1].is_bend

    def test_of_the_tibia_by_three_pieces(self) -> None:
        built = straight(tibia_at=(0.05, 0.2, 0.4, 0.55, 0.75, 0.9))
        start, shin = -1j * FEMUR_MM - 2j, way(MLDFA - MPTA)
        built.turn(start + shin * 130, 18, BELOW_TIBIA, 0, 4)
        built.turn(start + shin * 60, -11, BELOW_TIBIA, 0, 2)
        _, tibia = axes(leg_of(built))
        assert [float(one.turn_deg[0]) for one in tibia.bends] == pytest.approx([-11, 18])
        assert float(tibia.bends[0].from_knee_mm[0]) == pytest.approx(60)

    def test_a_bend_at_the_growth_plate_is_left_at_the_knee(self) -> None:
        built = straight(femur_at=(0.1, 0.3, 0.5, 0.7))
        built.turn(-1j * (FEMUR_MM - 8), 12, BELOW_FEMUR, 4, 0)
        femur, _ = axes(leg_of(built))
        (bend,) = femur.bends
        assert bend.by_joint == "knee"
        assert float(bend.turn_deg[0]) == pytest.approx(12)

    def test_two_bends_that_are_not_marked_show_as_an_apex_outside_the_bone(self) -> None:
        """Two equal bends against each other are a shift: the axes of the ends stay parallel or meet far away."""
        built = straight()
        start, shin = -1j * FEMUR_MM - 2j, way(MLDFA - MPTA)
        built.turn(start + shin * 150, -16, BELOW_TIBIA, 0, 0)
        built.turn(start + shin * 50, 20, BELOW_TIBIA, 0, 0)
        _, tibia = axes(leg_of(built))
        (bend,) = tibia.bends
        assert float(bend.turn_deg[0]) == pytest.approx(4)
        assert not tibia.is_inside(bend)


class TestReading:
    """500 random legs read with an error: the true bend lies in the range that is told, as often as is told."""

    @pytest.mark.parametrize("bone", ["femur", "tibia"])
    def test_size_and_level_are_covered(self, bone: str) -> None:
        random = np.random.default_rng(7)
        inside_angle = inside_level = 0
        for number in range(LEGS):
            angle = float(random.choice([-1, 1]) * random.uniform(8, 35))
            level = float(random.uniform(30, 170))
            built = bent_femur(angle, level) if bone == "femur" else bent_tibia(angle, level)
            once = read_again(leg_of(built), 1, ERROR_MM, 10_000 + number)
            points = {name: point[1:] for name, point in once.points.items()}
            shafts = {b: tuple((p[1:], q[1:]) for p, q in some) for b, some in once.shafts.items()}
            seen = read_again(Leg(points, shafts, {}), DRAWS, ERROR_MM, number)
            bend = axes(seen)[bone == "tibia"].turns[0]
            inside_angle += abs(float(bend.turn_deg[0]) - angle) <= bend.reading_deg
            low, high = np.percentile(bend.from_knee_mm[1:], (2.5, 97.5))
            off = float(bend.from_knee_mm[0])
            inside_level += (
                low - (np.median(bend.from_knee_mm) - off) <= level <= high + (off - np.median(bend.from_knee_mm))
            )
        assert inside_angle >= 0.92 * LEGS
        assert inside_level >= 0.90 * LEGS

    @pytest.mark.parametrize("bone", ["femur", "tibia"])
    def test_two_apices_and_both_planes_are_covered(self, bone: str) -> None:
        """500 random legs with two bends of one bone, and 500 with one bend in an oblique plane."""
        random = np.random.default_rng(13)
        inside = np.zeros(4)
        for number in range(LEGS):
            upper, lower = (float(random.choice([-1, 1]) * random.uniform(12, 30)) for _ in range(2))
            two = axes(misread(leg_of(two_bends(bone, upper, lower)), number))[bone == "tibia"]
            first = 1 if bone == "tibia" else 0
            for at, (turn, wanted) in enumerate(zip(two.turns[first:], (upper, lower), strict=False)):
                inside[at] += abs(float(turn.turn_deg[0]) - wanted) <= turn.reading_deg
            angle, plane = float(random.uniform(12, 35)), float(random.uniform(10, 80))
            leg = misread(leg_of(*in_space(bone, angle, plane)), number)
            (front,), (side,) = (
                [one for one in of.turns if not one.by_joint]
                for of in (axes(leg)[bone == "tibia"], side_axes(leg, LEAST_DEG, None)[bone == "tibia"])
            )
            found = oblique(front, side)
            for at, (values, wanted) in enumerate(((found.angle_deg, angle), (found.plane_deg, plane)), 2):
                inside[at] += abs(float(values[0]) - wanted) <= 1.96 * float(np.std(values[1:]))
        assert (inside >= 0.92 * LEGS).all(), inside / LEGS


class TestBothPlanes:
    """A bend in one oblique plane shows on both films as its shadows."""

    def test_the_true_angle_and_plane_come_back(self) -> None:
        """A turn by 20 deg in a plane 35 deg from the front, built in space and projected."""
        angle, plane = math.radians(20), math.radians(35)
        down = np.array([math.sin(angle) * math.cos(plane), math.sin(angle) * math.sin(plane), -math.cos(angle)])
        shown = [math.degrees(math.atan2(part, -down[2])) for part in down[:2]]
        built = straight(tibia_at=(0.1, 0.3, 0.6, 0.9))
        start, shin = -1j * FEMUR_MM - 2j, way(MLDFA - MPTA)
        built.turn(start + shin * 90, shown[0], BELOW_TIBIA, 0, 2)
        side = [complex(0, -FEMUR_MM - 2 - at * TIBIA_MM) for at in (0.1, 0.3, 0.6, 0.9)]
        apex = complex(0, -FEMUR_MM - 2 - 90)
        side[2:] = [apex + (p - apex) * cmath.rect(1, math.radians(shown[1])) for p in side[2:]]
        leg = leg_of(built, {"tibia": side})
        (front,) = axes(leg)[1].bends
        (seen,) = side_axes(leg, LEAST_DEG, np.array([[0.0, -FEMUR_MM - 2]]))[1].bends
        found = oblique(front, seen)
        assert float(found.angle_deg[0]) == pytest.approx(20)
        assert float(found.plane_deg[0]) == pytest.approx(35)
        assert float(found.apart_mm[0]) == pytest.approx(0, abs=1e-9)

    def test_an_equal_bend_on_both_films(self) -> None:
        """tan A = sqrt(tan^2 AP + tan^2 LAT), as published for one plane of two films: 45 and 45 give 54.7."""
        built = straight(tibia_at=(0.1, 0.3, 0.6, 0.9))
        start, shin = -1j * FEMUR_MM - 2j, way(MLDFA - MPTA)
        built.turn(start + shin * 90, 45, BELOW_TIBIA, 0, 2)
        (front,) = axes(leg_of(built))[1].bends
        assert float(oblique(front, front).angle_deg[0]) == pytest.approx(54.7356, abs=1e-3)


class TestCut:
    """The rules of the hinge (Paley et al. 1994): at the apex, away from it, and the wrong hinge."""

    def test_at_the_apex_nothing_shifts(self) -> None:
        for hinge in (True, False):
            cut = cut_at(20, 0, hinge_at_apex=hinge)
            assert (cut.shift_mm, cut.left_mm) == (0, 0)

    def test_away_from_it_the_ends_shift_by_the_chord(self) -> None:
        """Built: turn the lower end about the apex and measure how far its point at the cut went."""
        apex, cut = 0j, -30j
        moved = apex + (cut - apex) * cmath.rect(1, math.radians(20))
        assert cut_at(20, 30, hinge_at_apex=True).shift_mm == pytest.approx(abs(moved - cut))
        assert cut_at(20, 30, hinge_at_apex=True).left_mm == 0

    def test_a_hinge_off_the_apex_leaves_the_axes_apart(self) -> None:
        """Built: a bend of 20 deg at the origin straightened about a point 30 mm down: how far the axis then lies."""
        lower = [point * cmath.rect(1, math.radians(20)) for point in (0j, -30j, -100j)]
        hinge = lower[1]
        straightened = [hinge + (point - hinge) * cmath.rect(1, math.radians(-20)) for point in lower]
        assert cut_at(20, 30, hinge_at_apex=False).left_mm == pytest.approx(abs(straightened[2].real))

    def test_a_wedge_opens_by_the_chord(self) -> None:
        assert open_wedge_mm(60, 25) == pytest.approx(25)
