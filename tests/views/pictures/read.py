"""What a person reads in a picture of lanes: names, days and marks, taken from the cells and not from the code."""

from __future__ import annotations

from pathway.views.pictures.lanes import Lanes


def cells(lanes: Lanes) -> list[str]:
    """Return the rows of the picture as text of full width."""
    return [f"{line:<{lanes.picture.width}}" for line in lanes.picture.text.split("\n")]


def name_read(lanes: Lanes, stage: str) -> str:
    """Return what stands beside the mark of a stage, line by line, up to the age axis."""
    first, last = lanes.places[stage]
    start, end = lanes.columns.name + 2, lanes.columns.axis.left
    return " ".join(" ".join(line[start:end] for line in cells(lanes)[first : last + 1]).split())


def line_read(lanes: Lanes, stage: str) -> str:
    """Return the whole lines in which a stage stands."""
    first, last = lanes.places[stage]
    return " ".join(" ".join(line[lanes.columns.name :] for line in cells(lanes)[first : last + 1]).split())
