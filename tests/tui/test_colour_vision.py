"""The themes as people with a colour-vision deficiency see them, and in grey: nothing is told by hue alone.

Simulation: Machado GM, Oliveira MM, Fernandes LAF. A physiologically-based model for simulation of color vision
deficiency. IEEE Trans Vis Comput Graph 2009;15(6):1291-1298, matrices for severity 1.0, applied to linear RGB.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from textual.color import Color

from pathway.views.pictures.picture import Role, stage_role
from pathway.views.words.paragraphs import MARK_ROLES
from pathway.views.words.plan import STATUS_MARKS
from tests.tui.test_themes import DRAWN, GROUNDS, TEXT, contrast
from tui.themes import PALETTES

Linear = npt.NDArray[np.float64]
EYES = {
    "red cones missing": (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    ),
    "green cones missing": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
    "blue cones missing": (
        (1.255528, -0.076749, -0.178779),
        (-0.078411, 0.930809, 0.147602),
        (0.004733, 0.691367, 0.303900),
    ),
    "grey": ((0.2126, 0.7152, 0.0722),) * 3,
}
APART = 1.2
"""Own judgement: two grounds side by side are told apart from this contrast on."""


def seen(colour: str, eye: str) -> str:
    """Return a colour as an eye sees it, as #rrggbb."""
    rgb = np.array(Color.parse(colour).rgb) / 255
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    there: Linear = np.clip(np.array(EYES[eye]) @ linear, 0, 1)
    back = np.where(there <= 0.0031308, there * 12.92, 1.055 * there ** (1 / 2.4) - 0.055)
    return "#" + "".join(f"{round(255 * value):02x}" for value in back)


@pytest.fixture(params=EYES)
def eye(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture(params=PALETTES)
def palette(request: pytest.FixtureRequest, eye: str) -> dict[str, str]:
    return {str(role): seen(colour, eye) for role, colour in PALETTES[request.param].items()}


def test_a_simulation_leaves_grey_as_it_is(eye) -> None:
    """Each row of a matrix adds up to one: what has no hue keeps its lightness."""
    for grey in ("#000000", "#808080", "#ffffff"):
        assert contrast(grey, seen(grey, eye)) == pytest.approx(1, abs=0.02)


def test_red_looks_darker_where_red_cones_are_missing() -> None:
    assert contrast("#ff0000", "#000000") > 1.5 * contrast(seen("#ff0000", "red cones missing"), "#000000")


def test_every_text_stays_legible(palette) -> None:
    for role in set(palette) - {str(ground) for ground in GROUNDS} - {"chosen_text"}:
        for ground in ("ground", "panel"):
            assert contrast(palette[role], palette[ground]) >= TEXT, (role, ground)
    assert contrast(palette["chosen_text"], palette["chosen"]) >= TEXT


def test_lines_and_marks_stand_out_from_the_bands(palette) -> None:
    for band in (Role.BAND50, Role.BAND90):
        for role in (Role.MEDIAN, Role.MEDIAN_NATURAL, Role.MEASURED, "cursor"):
            assert contrast(palette[role], palette[band]) >= DRAWN, (role, band)


def test_the_two_bands_and_the_ground_can_be_told_apart(palette) -> None:
    assert contrast(palette[Role.BAND50], palette[Role.BAND90]) >= APART
    assert contrast(palette[Role.BAND90], palette["ground"]) >= APART


def test_every_status_and_every_state_has_a_mark_of_its_own() -> None:
    assert len(set(STATUS_MARKS.values())) == len(STATUS_MARKS)
    assert {stage_role(status) for status in STATUS_MARKS} == {role for role in Role if role.startswith("stage_")}
    assert len(set(MARK_ROLES)) == len(MARK_ROLES)
