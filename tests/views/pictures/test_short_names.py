"""Names are shortened at a seam, never inside a word or before a lonely preposition."""

from __future__ import annotations

import pytest

from pathway.views.pictures.short_names import names
from pathway.views.words.plan import cm_words
from tests.plans import files, plan

JOINING = {"before", "after", "of", "the", "and", "with", "until", "from", "to", "at"}


@pytest.mark.parametrize(
    ("stage", "wanted"),
    [
        ("hip_preparation_1", ("Hip preparation", "")),
        ("proximal_femoral_osteotomy_1", ("Osteotomy of the proximal femur", "Osteotomy", "")),
        (
            "femoral_device_removal_1",
            ("Frame removal and rodding (femur) 1", "Frame removal and rodding", "Frame removal", ""),
        ),
        ("femoral_lengthening_1", ("Femoral lengthening 1, 5.0 cm", "5.0 cm", "")),
    ],
)
def test_a_name_has_shorter_forms(stage, wanted) -> None:
    found = plan("rowan-02").stage(stage)
    if found.amount_mm is not None:
        found = found.model_copy(update={"amount_mm": 50.0})
    assert names(found) == wanted


@pytest.mark.parametrize("child", files())
def test_no_short_form_ends_in_half_a_phrase(child) -> None:
    for stage in plan(child).stages:
        for name in names(stage)[:-1]:
            words = name.split(",")[0].split()
            assert words[-1] not in JOINING
            assert stage.label.startswith(name.split(",")[0]) or name == cm_words(stage.amount_mm)
