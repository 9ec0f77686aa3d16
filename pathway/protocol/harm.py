"""The shape of a published count: what went wrong, or how it ended, in one series of treated children."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, get_args

from pydantic import Field, model_validator

from pathway.protocol.base import Sourced
from pathway.record import Frozen

What = Literal[
    "unplanned_operation",
    "all_operations",
    "unplanned_visit",
    "readmission",
    "shortfall",
    "shortfall_mm",
    "stopped_early",
    "length_lost",
    "premature_consolidation",
    "new_bone_poor",
    "new_bone_operated",
    "bone_trouble",
    "fracture",
    "axis_deviation",
    "hip_instability",
    "knee_instability",
    "hip_or_knee_instability",
    "dislocation_pattern",
    "knee_contracture",
    "knee_motion_lasting",
    "knee_release",
    "contracture_release",
    "joint_trouble",
    "knee_arthritis",
    "ankle_valgus",
    "nerve_sign",
    "nerve_lasting",
    "nerve_electrical",
    "deep_infection",
    "femoral_head_necrosis",
    "implant_trouble",
    "lasting_harm",
    "major_complication",
    "complication",
    "growth_slowed",
    "growth_lost_mm",
    "extra_equalisation",
    "several_lengthenings",
    "lengthenings",
    "amputation",
    "result_fair_or_poor",
    "near_equal_and_foot_flat",
    "satisfied",
    "final_difference_mm",
    "within_20_mm",
    "within_25_mm",
    "arrest_complication",
    "arrest_operated_again",
    "arrest_axis_or_growth",
    "arrest_overcorrection",
    "arrest_stiffness",
    "arrest_not_successful",
    "valgus_return",
    "hip_operated_again",
]
"""What is counted. `unplanned_operation`, `complication` and `major_complication` are counted either as children with
at least one (kind `share`) or as events (kind `count`); `shortfall_mm`, `growth_lost_mm` and `final_difference_mm`
are lengths; `final_difference_mm`, `within_…`, `satisfied` and their like are results and no harms."""
Treatment = Literal["lengthening", "growth_arrest", "growth_modulation", "hip_operation", "whole_course"]
HarmBone = Literal["femur", "tibia", "both", "none"]
Device = Literal["ring", "monolateral", "frame", "frame_over_nail", "nail", "fast_distraction", "mixed", "other"]
"""`frame`: kind mixed or not said; `frame_over_nail`: along a locked nail; `nail`: it lengthens by itself;
`fast_distraction`: historical, with open plating and graft; `other`: of growth arrest and hip preparation."""
Cover = Literal["good", "poor", "prepared"]
Cause = Literal[
    "mixed",
    "congenital",
    "congenital_femoral_deficiency",
    "fibular_deficiency",
    "bone_disorder",
    "brittle_bones",
    "achondroplasia",
    "idiopathic",
]
Directness = Literal["direct", "near", "far"]

OUTCOMES: Mapping[str, tuple[What, ...]] = {
    "unplanned_operation": ("unplanned_operation",),
    "shortfall": ("shortfall",),
    "stopped_early": ("stopped_early",),
    "premature_consolidation": ("premature_consolidation",),
    "new_bone": ("new_bone_poor", "new_bone_operated"),
    "fracture": ("fracture",),
    "axis": ("axis_deviation",),
    "hip": ("hip_instability", "hip_or_knee_instability"),
    "knee": ("knee_instability", "hip_or_knee_instability"),
    "knee_contracture": ("knee_contracture",),
    "knee_lasting": ("knee_motion_lasting", "knee_release"),
    "nerve": ("nerve_sign",),
    "deep_infection": ("deep_infection",),
    "lasting_harm": ("lasting_harm",),
    "major": ("major_complication",),
    "any": ("complication",),
}
"""What the pooled table distinguishes, and which counts speak of it; a count of hip or knee speaks of both."""


class Spread(Frozen):
    """A quantity of a series as printed: mean or median, least and most single value, one SD."""

    mean: float | None = None
    median: float | None = None
    low: float | None = None
    high: float | None = None
    sd: float | None = None

    @model_validator(mode="after")
    def _in_order(self) -> Spread:
        given = [value for value in (self.low, self.mean, self.high) if value is not None]
        if not self.model_fields_set or given != sorted(given):
            raise ValueError("a spread has at least one value, `low` before `mean` before `high`")
        return self

    @property
    def centre(self) -> float | None:
        """Return the mean, or the median where no mean is printed, or None."""
        return self.mean if self.mean is not None else self.median


class Harm(Sourced):
    """One published count of one series: `n` of `of` units.

    `kind`: `share` (n units with the event), `count` (n events in all) or `mean` (n is a mean, `of` the size of its
    group, None where not printed); `low` and `high` are its printed range. `unit` is what `of` counts,
    `lengthenings_per_unit` how many lengthened bones one unit has. `stratum` says which part of the series.
    `congenital_share`, `tibia_share` and `rod_share` (rod or nail inside the bone) are parts of 1.
    `amount_mm`, `percent` (of the bone's length) and `age_years` are as printed; `percent_range` is where the mean
    percent lies with 90 in 100 when it is not printed, `percent_basis` how that was found. `hip_cover` is the
    state of the hip before. What an event meant: `treated` in words, `lasts`, `months` and `lost_mm` each costs,
    `operations` an event. `directness`: `direct` counts bones like those planned here, `near` other causes or ages,
    `far` other joints or diseases; `indirect` says why. `fit`: it stands behind the pooled table.
    """

    id: str
    what: What
    treatment: Treatment
    series: str
    stratum: str = ""
    kind: Literal["share", "count", "mean"]
    n: float = Field(ge=0)
    of: float | None = Field(default=None, gt=0)
    low: float | None = None
    high: float | None = None
    unit: Literal["lengthening", "child", "limb", "hip", "bone"] = "lengthening"
    lengthenings_per_unit: float = Field(default=1.0, gt=0)
    population: str
    diagnosis: Cause
    congenital_share: float | None = Field(default=None, ge=0, le=1)
    bone: HarmBone
    tibia_share: float | None = Field(default=None, ge=0, le=1)
    device: Device
    rod_share: float | None = Field(default=None, ge=0, le=1)
    hip_cover: Cover | None = None
    amount_mm: Spread | None = None
    percent: Spread | None = None
    percent_range: tuple[float, float] | None = None
    percent_basis: str = ""
    age_years: Spread | None = None
    adults: bool = False
    follow_up_years: float | None = None
    treated: str = ""
    lasts: Literal["for a time", "for good"] | None = None
    months: float | None = Field(default=None, ge=0)
    lost_mm: float | None = Field(default=None, ge=0)
    operations: float | None = Field(default=None, ge=0)
    family_words: str
    directness: Directness
    indirect: str
    fit: bool = False

    @property
    def outcomes(self) -> tuple[str, ...]:
        """Return the outcomes of the pooled table that the count speaks of."""
        return tuple(name for name, whats in OUTCOMES.items() if self.what in whats)

    @property
    def alone(self) -> bool:
        """Return whether the count speaks of one outcome only."""
        return len(self.outcomes) == 1


def whats() -> tuple[str, ...]:
    """Return everything that can be counted."""
    return get_args(What)


class StageHarm(Sourced):
    """What may go wrong at stages, as every view that recommends them must say.

    `stages` are kinds of stages, or with `operations` it is every operation. How often: by an `outcome` of the pooled
    table (for a lengthening as it is planned), by the published count of that id (`count`), by `of_100` printed of so
    many `cases`, or not known where none of these is given. `label` names it for the team, `family_words` for a family.
    `complications` are those that may be recorded with an operation and tell that it came.
    """

    id: str
    stages: tuple[str, ...] = ()
    operations: bool = False
    outcome: str | None = None
    count: str | None = None
    of_100: float | None = Field(default=None, ge=0, le=100)
    cases: int | None = Field(default=None, gt=0)
    complications: tuple[str, ...] = ()
    label: str
    family_words: str

    @model_validator(mode="after")
    def _one_way(self) -> StageHarm:
        if self.operations == bool(self.stages):
            raise ValueError("a harm is of `stages`, or with `operations = true` of every operation")
        if sum(way is not None for way in (self.outcome, self.count, self.of_100)) > 1:
            raise ValueError("how often comes from one of `outcome`, `count` and `of_100`")
        if (self.of_100 is None) != (self.cases is None):
            raise ValueError("`of_100` is printed of so many `cases`: give both or none")
        return self
