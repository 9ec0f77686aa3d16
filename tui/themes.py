"""All colours of the screens: three themes of our own, each with a colour for every role of a picture.

Nothing else in `tui` names a colour. Every text role has a contrast of at least 4.5 to 1 on the background,
the panel and the bands (WCAG 2.2, success criterion 1.4.3); a test computes it.
"""

from __future__ import annotations

from textual.theme import Theme

from pathway.views.pictures.picture import Role

_DARK = {
    "ground": "#11161d",
    "panel": "#1a222d",
    "text": "#e8ebef",
    "muted": "#a3b1c2",
    "accent": "#8cc8ff",
    Role.AXIS: "#a3b1c2",
    Role.LANE_LABEL: "#8cc8ff",
    Role.LABEL: "#e8ebef",
    Role.LEGEND: "#a3b1c2",
    Role.STAGE_DONE: "#86d3a7",
    Role.STAGE_UNDER_WAY: "#6fd6e8",
    Role.STAGE_READY: "#ffd35c",
    Role.STAGE_LATER: "#a9c1ff",
    Role.STAGE_BLOCKED: "#ff9d96",
    Role.STAGE_OPTIONAL: "#d0b3ff",
    Role.WINDOW: "#7f90a6",
    Role.LAST_DAY: "#ff9d96",
    Role.MEDIAN: "#ffffff",
    Role.MEDIAN_NATURAL: "#ffae70",
    Role.BAND50: "#34597c",
    Role.BAND90: "#21384f",
    Role.MEASURED: "#ffd35c",
    Role.GOAL: "#86d3a7",
    Role.TODAY: "#ffd35c",
    Role.EDGE: "#8696aa",
    "chosen": "#2f4f2f",
    "chosen_text": "#ffffff",
    "cursor": "#ffffff",
}
_LIGHT = {
    "ground": "#fbfaf6",
    "panel": "#efece3",
    "text": "#1b232d",
    "muted": "#4d5864",
    "accent": "#0b4f8a",
    Role.AXIS: "#4d5864",
    Role.LANE_LABEL: "#0b4f8a",
    Role.LABEL: "#1b232d",
    Role.LEGEND: "#4d5864",
    Role.STAGE_DONE: "#17633a",
    Role.STAGE_UNDER_WAY: "#075e70",
    Role.STAGE_READY: "#7a4a00",
    Role.STAGE_LATER: "#2b4a9b",
    Role.STAGE_BLOCKED: "#a3211b",
    Role.STAGE_OPTIONAL: "#68349b",
    Role.WINDOW: "#5c6670",
    Role.LAST_DAY: "#a3211b",
    Role.MEDIAN: "#000000",
    Role.MEDIAN_NATURAL: "#95420a",
    Role.BAND50: "#a9cbe8",
    Role.BAND90: "#d5e5f2",
    Role.MEASURED: "#7a2a00",
    Role.GOAL: "#17633a",
    Role.TODAY: "#7a4a00",
    Role.EDGE: "#5d6873",
    "chosen": "#ffe69a",
    "chosen_text": "#000000",
    "cursor": "#000000",
}
_CONTRAST = {
    "ground": "#000000",
    "panel": "#000000",
    "text": "#ffffff",
    "muted": "#ffffff",
    "accent": "#ffff00",
    Role.AXIS: "#ffffff",
    Role.LANE_LABEL: "#ffff00",
    Role.LABEL: "#ffffff",
    Role.LEGEND: "#ffffff",
    Role.STAGE_DONE: "#ffffff",
    Role.STAGE_UNDER_WAY: "#ffff00",
    Role.STAGE_READY: "#ffff00",
    Role.STAGE_LATER: "#ffffff",
    Role.STAGE_BLOCKED: "#ffff00",
    Role.STAGE_OPTIONAL: "#ffffff",
    Role.WINDOW: "#d0d0d0",
    Role.LAST_DAY: "#ffffff",
    Role.MEDIAN: "#ffff00",
    Role.MEDIAN_NATURAL: "#ffffff",
    Role.BAND50: "#5a5a5a",
    Role.BAND90: "#303030",
    Role.MEASURED: "#ffff00",
    Role.GOAL: "#ffffff",
    Role.TODAY: "#ffff00",
    Role.EDGE: "#ffffff",
    "chosen": "#ffff00",
    "chosen_text": "#000000",
    "cursor": "#ffff00",
}
PALETTES = {"pathway-dark": _DARK, "pathway-light": _LIGHT, "pathway-high-contrast": _CONTRAST}
FIRST = "pathway-dark"


def _theme(name: str, palette: dict[str, str]) -> Theme:
    own = {f"role-{str(key).replace('_', '-')}": value for key, value in palette.items()}
    own["role-text"], own["role-blank"] = palette["text"], palette["ground"]
    return Theme(
        name=name,
        primary=palette["accent"],
        secondary=palette["accent"],
        accent=palette["accent"],
        warning=palette[Role.STAGE_READY],
        error=palette[Role.STAGE_BLOCKED],
        success=palette[Role.STAGE_DONE],
        foreground=palette["text"],
        background=palette["ground"],
        surface=palette["ground"],
        panel=palette["panel"],
        dark=name != "pathway-light",
        variables={
            **own,
            "text-muted": palette["muted"],
            "foreground-muted": palette["muted"],
            "text-disabled": palette["muted"],
            "footer-background": palette["panel"],
            "footer-foreground": palette["text"],
            "footer-key-foreground": palette["accent"],
            "footer-description-foreground": palette["text"],
            "footer-description-background": palette["panel"],
            "footer-item-background": palette["panel"],
            "footer-key-background": palette["panel"],
            "block-cursor-background": palette["chosen"],
            "block-cursor-foreground": palette["chosen_text"],
            "block-cursor-text-style": "bold",
            "block-cursor-blurred-background": palette["chosen"],
            "block-cursor-blurred-foreground": palette["chosen_text"],
            "block-cursor-blurred-text-style": "bold",
            "block-hover-background": palette["panel"],
            "input-cursor-background": palette["text"],
            "input-cursor-foreground": palette["ground"],
            "input-selection-background": palette["chosen"],
            "border": palette["muted"],
            "border-blurred": palette["muted"],
            "scrollbar": palette["muted"],
            "scrollbar-background": palette["panel"],
            "scrollbar-hover": palette["accent"],
            "scrollbar-active": palette["accent"],
            "scrollbar-background-hover": palette["panel"],
            "scrollbar-background-active": palette["panel"],
            "scrollbar-corner-color": palette["panel"],
        },
    )


THEMES = tuple(_theme(name, palette) for name, palette in PALETTES.items())


def variable(role: str) -> str:
    """Return the name of the theme's variable that holds the colour of a role."""
    return f"role-{role.replace('_', '-')}"
