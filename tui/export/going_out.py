"""A paper made and put where it was asked for, off the screen's own thread. An edge; no screen in here."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from pathway.children.case_files import MOST_BYTES
from pathway.files.kinds import CALENDAR
from pathway.files.reading import read_bytes
from pathway.files.writing import Target, refuse_place, write_out
from pathway.problems import Problem, Refused, refused
from tui.export.offers import Edge, Offer

OF_THE_VERB = ", or add --replace"
"""What the writer tells who uses a verb: the screen replaces no file of something else."""
UNEXPECTED = "internal error, nothing was written; please report it"


@dataclass(frozen=True, slots=True)
class Wanted:
    """A paper that was asked for: under which file name, in which folder, and whether it may replace one of its kind.

    Without a folder it is only made: a browser takes it.
    """

    offer: Offer
    file: str
    folder: Path | None
    replace: bool = False
    inputs: tuple[Path, ...] = ()


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of it: it was written, it is made for the browser, it would replace an earlier one, or why not."""

    state: Literal["written", "made", "asked", "refused"]
    wanted: Wanted
    said: tuple[str, ...]
    data: bytes = b""


def answer_to(wanted: Wanted, edge: Edge) -> Answer:
    """Make a paper and put it in its place; raises nothing, whatever is in the way is said."""
    try:
        return _answer(wanted, edge)
    except Refused as error:
        return Answer("refused", wanted, tuple(_of_the_screen(one).sentence for one in error.problems))
    except Exception as error:  # a fault of ours must not end the session: it is said in place
        return Answer("refused", wanted, (f"{wanted.offer.label}: {UNEXPECTED} ({type(error).__name__}: {error}).",))


def _answer(wanted: Wanted, edge: Edge) -> Answer:
    offer, name = wanted.offer, wanted.file
    if not name or {"/", "\\"} & set(name) or name in (".", ".."):
        raise refused(offer.label, repr(name), "a file name", "type the folder into its own line")
    form = offer.form_of(name)
    if wanted.folder is None:
        paper = offer.make(form, edge)
        return Answer("made", wanted, paper.beside, paper.data)
    kind = offer.kind(form)
    target = Target(wanted.folder / name, kind, inputs=wanted.inputs)
    refuse_place(target)
    if target.file.exists():
        if not wanted.replace:
            return Answer("asked", wanted, (f"{name} is in {wanted.folder.absolute()} already, from before.",))
        if kind == CALENDAR:
            before = read_bytes(target.file, "the calendar that was sent before", MOST_BYTES)
            edge = replace(edge, earlier=before)
    paper = offer.make(form, edge)
    write_out(target, paper.data)
    return Answer("written", wanted, (f"Wrote {name} in {wanted.folder.absolute()}.", *paper.beside))


def _of_the_screen(one: Problem) -> Problem:
    return replace(one, remedy=one.remedy.replace(OF_THE_VERB, ""))
