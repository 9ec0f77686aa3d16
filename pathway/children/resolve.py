"""Which child a word names: a case file, a folder with one, a child of the registry, or an example, in this order.

Only here is it decided, for every verb and screen. Where a word could mean two of them, it is said which was taken.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from pathway.children import case_files, examples
from pathway.plain_text import PSEUDONYM, pseudonym_of
from pathway.problems import Refused, refused

if TYPE_CHECKING:
    import datetime

    from pathway.protocol.model import Protocol
    from pathway.record import Record
    from pathway.registry.journal.entry import Entry

Origin = Literal["file", "registry", "example"]


@dataclass(frozen=True, slots=True)
class RegistryAt:
    """Where the registry is (None: in the user's data folder, if there is one), and its key where it has one."""

    address: str | None = None
    key: str | None = None


@dataclass(frozen=True, slots=True)
class Located:
    """The child that a word names, not read yet; `notes` say what else the word could mean, or what is in the way."""

    word: str
    origin: Origin
    file: Path | None = None
    entries: tuple[Entry, ...] = ()
    registry: RegistryAt = RegistryAt()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class KnownChild:
    """A child's record, where it comes from, and its entries where the registry keeps it.

    `registry_head` says in short where the registry stood, "" where nothing was signed in it.
    """

    record: Record
    origin: Origin
    entries: tuple[Entry, ...] = ()
    registry_head: str = ""


def locate(word: Path, registry: RegistryAt) -> Located:
    """Return the child that a word names; refuses a folder that holds more or less than one."""
    name, bare = str(word), word.parent == Path() and PSEUDONYM.fullmatch(word.name) is not None
    if word.exists():
        file = case_files.only_file_in(word) if word.is_dir() else word
        what = "the folder" if word.is_dir() else "the file"
        others, notes = _others(name, registry) if bare else ([], ())
        return Located(name, "file", file, notes=(*notes, *_taken(name, f"{what} of that name", others)))
    kept, notes = _kept(name, registry) if bare else ((), ())
    if kept:
        others = [_example(name)] if examples.known(name) else []
        told = (*notes, *_taken(name, "the registry", others))
        return Located(name, "registry", entries=kept, registry=registry, notes=told)
    if word.parent == Path() and examples.known(name):
        return Located(name, "example", notes=notes)
    _refuse_spelling(word, registry)
    return Located(name, "file", word, notes=notes)


def _refuse_spelling(word: Path, registry: RegistryAt) -> None:
    """Refuse an id in capitals or with spaces, where a child of the registry or an example has it as ids are kept."""
    kept_as = pseudonym_of(word.name)
    if word.parent != Path() or kept_as == word.name or PSEUDONYM.fullmatch(kept_as) is None:
        return
    whose = "a child of the registry" if _kept(kept_as, registry)[0] else "an example child"
    if whose == "a child of the registry" or examples.known(kept_as):
        raise refused(word.name, "no file and no child of that name", "one", f"did you mean {kept_as}, {whose}")


def locate_all(words: Iterable[Path], registry: RegistryAt) -> tuple[Located, ...]:
    """Return the children that words name, each of them once; of a folder all its case files. Files can be read."""
    found: dict[tuple[str, str], Located] = {}
    for word in words:
        if word.is_dir():
            some = [Located(str(file), "file", file) for file in case_files.files_in(word)]
        else:
            some = [locate(word, registry)]
            if some[0].file is not None:
                _refuse_unreadable(some[0])
        for one in some:
            found.setdefault((one.origin, str(one.file or one.word)), one)
    return tuple(found.values())


def locate_files(words: Iterable[Path]) -> tuple[Located, ...]:
    """Return the case files and examples that words name, of a folder all its files; the registry is not asked."""
    found: list[Located] = []
    for word in words:
        if word.is_dir() and any(word.glob("*.toml")):
            found += (Located(str(file), "file", file) for file in case_files.files_in(word))
        elif not word.exists() and word.parent == Path() and examples.known(word.name):
            found.append(Located(str(word), "example"))
        else:
            found.append(Located(str(word), "file", word))
    return tuple(found)


def shown_names(found: Iterable[Located]) -> dict[str, Located]:
    """Return children by the names they are shown under: short where that tells them apart."""
    several = tuple(found)
    stems = [_stem(one) for one in several]
    return {
        stem if stems.count(stem) == 1 or one.file is None else str(one.file.with_suffix("")): one
        for one, stem in zip(several, stems, strict=True)
    }


def text_of(found: Located) -> str:
    """Return the case file of a child; of one in the registry the case file that reads back to its record."""
    if found.file is not None:
        return case_files.text_of(found.file)
    if found.origin == "example":
        return examples.text(found.word)
    from pathway.casefile import case_text

    return case_text(_folded(found))


def read(found: Located, protocol: Protocol, on: datetime.date) -> KnownChild:
    """Return the record of a child; refuses with every fault of its case file."""
    from pathway.casefile.read_and_check import read_and_check

    if found.origin == "registry":
        known, head = _folded_and_head(found)
        return KnownChild(known, "registry", found.entries, head)
    record = read_and_check(text_of(found), str(found.file or found.word), protocol, on)
    if isinstance(record, tuple):
        raise Refused(*record)
    return KnownChild(record, found.origin)


def _kept(child: str, registry: RegistryAt) -> tuple[tuple[Entry, ...], tuple[str, ...]]:
    """Return the entries that the registry keeps of a child, () where it keeps none, and what is wrong with it.

    The latter may be why nothing is found, or an example in place of a child. No database is loaded where there is
    none to ask.
    """
    from pathway.registry.default import default_file

    address = registry.address
    if address is None or "://" not in address:
        there = (default_file() if address is None else Path(address).expanduser()).exists()
        if not there and (address is None or examples.known(child)):
            return (), ()
    from pathway.registry.problem import RegistryProblem
    from pathway.registry.store import open_registry

    try:
        with open_registry(address, registry.key) as store:
            return store.entries(child), store.notes
    except RegistryProblem as problem:
        return (), (str(problem),)


def _folded(found: Located) -> Record:
    return _folded_and_head(found)[0]


def _folded_and_head(found: Located) -> tuple[Record, str]:
    from pathway.registry.store import open_registry

    with open_registry(found.registry.address, found.registry.key) as store:
        head = store.signed_head()
        return store.folded(found.word, found.entries), "" if head is None else head.short


def _others(name: str, registry: RegistryAt) -> tuple[list[str], tuple[str, ...]]:
    kept, notes = _kept(name, registry)
    in_registry = ["the registry's child of that id is found from a folder without it"] if kept else []
    return in_registry + ([_example(name)] if examples.known(name) else []), notes


def _example(name: str) -> str:
    return f"the example of that name is {name}.toml"


def _taken(name: str, what: str, others: list[str]) -> tuple[str, ...]:
    return (f"{name}: taken from {what}; {', '.join(others)}.",) if others else ()


def _stem(found: Located) -> str:
    return (found.file or Path(found.word)).stem if found.origin != "registry" else found.word


def _refuse_unreadable(found: Located) -> None:
    text_of(replace(found, notes=()))
