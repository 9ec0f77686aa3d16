"""The shape of a device that lengthens a bone: a frame or a nail, for whom, how much, and how it comes out."""

from __future__ import annotations

from typing import Literal

from pathway.protocol.base import Condition, Rule

DeviceKind = Literal["frame", "frame_over_nail", "nail"]
"""As the pooled counts distinguish them (`protocol.harm.Device`)."""
Choice = Literal["usual", "by_cost", "offered", "ask_only"]


class Device(Rule):
    """A device that lengthens a bone, and the children for whom it may be chosen.

    `choice`: `usual` is the one device of its bone that stands where no other does, `by_cost` is chosen where it costs
    less by the weights of the rules, `offered` may be named by the clinic for an operation and is never chosen, as
    `ask_only`, of which too little is known. `when` tests today's findings: what fails rules the device out, what is
    not known is asked for. `outgrown` are the findings of it that change as the child grows: today's value says nothing
    of years to come. `checks` are what the clinic checks besides. `kind` and `rod` (a rod or nail in the bone at the
    end) are what the pooled counts distinguish. `from_age_years` binds, `youngest_read_years` is told.
    `most_growth_left_mm`: only once the bone has so little left to grow. `least_mm` and `most_mm` bind, `usual_mm` is
    told. `months_per_cm` from operation to solid bone; without it the days per cm of the bone hold. `spans_knee`: it
    can be extended over the knee. `month_weight` and `school_weight` are the values that a month, and a school year,
    with it weigh. `stage_what` and `stage_family_words` stand in place of those of the lengthening, which speak of a
    frame. `removal`: it goes when the lengthening ends, or in a stage of its own (role `implant_removal`). `comes_off`:
    what is outside goes once the bone is solid, or when the length is reached and a nail or plate inside holds it.
    `most_weight_kg` and `licensed_from_years` are those of the make used in a clinic: None until the clinic enters them
    in its own rules.
    """

    label: str
    family_words: str
    bone: Literal["femur", "tibia"]
    kind: DeviceKind
    rod: bool = False
    choice: Choice
    spans_knee: bool
    from_age_years: float = 0.0
    youngest_read_years: float | None = None
    most_growth_left_mm: float | None = None
    least_mm: float | None = None
    most_mm: float | None = None
    usual_mm: tuple[float, float] | None = None
    months_per_cm: float | None = None
    months_per_cm_range: tuple[float, float] | None = None
    month_weight: str
    school_weight: str = "weigh_school_year"
    removal: Literal["at_end", "own_stage"]
    comes_off: Literal["solid", "length_reached"] = "solid"
    removal_words: str
    walking_words: str
    stage_what: str = ""
    stage_family_words: str = ""
    when: Condition | None = None
    outgrown: tuple[str, ...] = ()
    checks: tuple[str, ...] = ()
    most_weight_kg: float | None = None
    licensed_from_years: float | None = None
    weight_finding: str | None = None
    complications: str = ""

    @property
    def tested(self) -> Condition | None:
        """Return what is tested of a child: `when`, and the weight limit where the clinic has entered one."""
        if self.most_weight_kg is None:
            return self.when
        limit = Condition(finding=self.weight_finding, at_most=self.most_weight_kg)
        return limit if self.when is None else Condition(all=(self.when, limit))

    @property
    def least_age_years(self) -> float:
        """Return the age from which it may be used: that of the rule, or of the clinic's licence where later."""
        return max(self.from_age_years, self.licensed_from_years or 0.0)

    @property
    def chosen(self) -> bool:
        """Return whether the planner may choose it."""
        return self.choice in ("usual", "by_cost")

    @property
    def not_entered(self) -> tuple[str, ...]:
        """Return what only the clinic knows of its make and has not entered: its weight limit, its licence."""
        if self.kind != "nail" or not self.chosen:
            return ()
        missing = [] if self.most_weight_kg is not None else ["most body weight"]
        return tuple(missing) if self.licensed_from_years is not None else (*missing, "licensed age")
