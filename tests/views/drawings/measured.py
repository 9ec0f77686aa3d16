"""Where the parts of a drawing lie on the paper, read back from its SVG and nothing else."""

from __future__ import annotations

import re
import xml.etree.ElementTree as tree
from dataclasses import dataclass
from itertools import combinations

from pathway.views.drawings.drawing import Drawing, text_width_mm

MM_PER_POINT = 25.4 / 72
HIGH, DEEP = 0.72, 0.16
"""A capital letter above the baseline and the tail of a letter below it, in parts of the size of the text."""


@dataclass(frozen=True)
class Box:
    left: float
    top: float
    right: float
    low: float
    what: str = ""

    def meets(self, other: Box) -> bool:
        apart = self.right <= other.left or other.right <= self.left or self.low <= other.top or other.low <= self.top
        return not apart


@dataclass(frozen=True)
class Path:
    points: tuple[tuple[float, float], ...]
    fill: str
    stroke: str
    wide: float

    @property
    def box(self) -> Box:
        xs, ys = [x for x, _ in self.points], [y for _, y in self.points]
        return Box(min(xs), min(ys), max(xs), max(ys), "path")


def paths(drawn: Drawing) -> list[Path]:
    """Every path but the ground, as the corners that its commands visit."""
    found = []
    for element in list(elements(drawn, "path"))[1:]:
        get = element.attrib.get
        corners = tuple(_corners(get("d", "")))
        found.append(Path(corners, get("fill", "none"), get("stroke", "none"), float(get("stroke-width", "0"))))
    return found


def texts(drawn: Drawing) -> list[tuple[Box, str]]:
    found = []
    for element in elements(drawn, "text"):
        words, size = element.text or "", float(element.attrib["font-size"])
        wide = text_width_mm(words, size / MM_PER_POINT)
        x, y = float(element.attrib["x"]), float(element.attrib["y"])
        left = x - {"start": 0.0, "middle": wide / 2, "end": wide}[element.attrib["text-anchor"]]
        found.append((Box(left, y - HIGH * size, left + wide, y + DEEP * size, words), words))
    return found


def elements(drawn: Drawing, tag: str) -> list[tree.Element]:
    return [element for element in tree.fromstring(drawn.svg()).iter() if element.tag.rpartition("}")[2] == tag]


def overlaps(drawn: Drawing) -> list[tuple[str, str]]:
    """Texts that lie on each other."""
    return [(a, b) for (box, a), (other, b) in combinations(texts(drawn), 2) if box.meets(other)]


def outside(drawn: Drawing, slack_mm: float = 0.4) -> list[Box]:
    """Texts and paths that leave the sheet."""
    boxes = [box for box, _ in texts(drawn)] + [path.box for path in paths(drawn)]
    return [
        box
        for box in boxes
        if box.left < -slack_mm
        or box.top < -slack_mm
        or box.right > drawn.width_mm + slack_mm
        or box.low > drawn.height_mm + slack_mm
    ]


def _corners(path: str):
    x = y = 0.0
    for command, numbers in re.findall(r"([MLHVhvaZ])([^MLHVhvaZ]*)", path):
        values = [float(n) for n in re.findall(r"-?\d*\.?\d+", numbers)]
        if command in "ML":
            x, y = values
        elif command == "H":
            x = values[0]
        elif command == "V":
            y = values[0]
        elif command == "h":
            x += values[0]
        elif command == "v":
            y += values[0]
        elif command == "a":
            radius, (dx, dy) = values[0], values[-2:]
            if values[3] == 1:  # half of a whole circle: it reaches above and below
                yield x + dx / 2, y - radius
                yield x + dx / 2, y + radius
            x, y = x + dx, y + dy
        yield x, y
