"""What the verbs on changes, on the registry and on the rules print with `--json`, as shapes."""

from __future__ import annotations

import datetime
from typing import Any, Literal

from pydantic import AwareDatetime

from pathway.protocol.base import Source
from pathway.protocol.model import SwitchedOff
from pathway.questions.compare import Kind
from pathway.record import Frozen


class ChangePrinted(Frozen):
    """One difference between two plans with the facts that caused it; `because` is empty where time alone did."""

    kind: Kind
    about: str
    before: str
    after: str
    sentence: str
    because: tuple[str, ...]


class ChangesPrinted(Frozen):
    """What `followup --json` and `compare --json` print: the days of both plans, what was entered, what changed,
    and the notices that only the plan after has."""

    child: str
    before: datetime.date
    on: datetime.date
    entered: tuple[str, ...]
    changes: tuple[ChangePrinted, ...]
    notices: tuple[str, ...]
    caution: str


class What(Frozen):
    """Something to measure, and by when."""

    what: str
    by: datetime.date


class StageDay(Frozen):
    """A stage and a day of it."""

    stage: str
    on: datetime.date


class StoredPrinted(Frozen):
    """What a list knows of a stored plan; `up_to_date`: no entry was added since it was made."""

    on: datetime.date
    up_to_date: bool
    born: datetime.date | None = None
    diagnosis: str = ""
    difference_mm: float | None = None
    next: str
    next_on: datetime.date | None
    course: str
    conflict: bool
    close_call: bool = False
    measure: tuple[What, ...]
    see_again_by: datetime.date | None
    opens: tuple[StageDay, ...]
    examine: tuple[StageDay, ...]
    steps: tuple[StageDay, ...] = ()
    last_days: tuple[StageDay, ...] = ()
    arrest_last: datetime.date | None
    as_accepted: bool | None = None
    accepted_on: datetime.date | None = None
    changes_on: datetime.date | None = None


class LinePrinted(Frozen):
    """One child of `registry list --json`; `plan` is None where none is stored."""

    child: str
    entries: int
    sha256: str
    first: AwareDatetime
    last: AwareDatetime
    last_by: str
    erased: AwareDatetime | None
    plan: StoredPrinted | None


class DueItem(Frozen):
    """One thing that a child needs, and by when."""

    child: str
    by: datetime.date
    what: str
    overdue: bool


class DuePrinted(Frozen):
    """What `registry due --json` prints: one page, how many lines are left and what `--after` takes for the next.

    `to_plan_again` are children whose stored plan is missing, old or damaged, `damaged` those of the latter.
    """

    on: datetime.date
    due: tuple[DueItem, ...]
    left: int
    after: str | None
    to_plan_again: tuple[str, ...]
    damaged: tuple[str, ...]


class RevisionPrinted(Frozen):
    """One kept plan of `registry revisions --json`; `accepted_by` is "" where nobody said who accepted it."""

    number: int
    by: str
    at: AwareDatetime
    on: datetime.date
    protocol_version: str
    reason: str
    accepted: bool
    accepted_by: Literal["", "family", "team"]


class HeadPrinted(Frozen):
    """Where the chain of a child ends."""

    count: int
    sha256: str


class SignedHeadPrinted(Frozen):
    """Where the whole registry stood: so many leaves with this root, signed by a workstation (Ed25519, hex)."""

    size: int
    root: str
    since: int
    at: AwareDatetime
    public_key: str
    signature: str


class HeadsPrinted(Frozen):
    """What `registry heads --json` prints."""

    schema_version: Literal[1]
    taken: AwareDatetime
    heads: dict[str, HeadPrinted]
    registry: SignedHeadPrinted | None


class ProtocolPrinted(Frozen):
    """Which rules they are; `changed` says what moved in this version."""

    name: str
    version: str
    changed: str


class RulePrinted(Frozen):
    """One rule: its kind, its id, what it says, and its fields as its file has them."""

    kind: str
    id: str
    statement: str
    fields: dict[str, Any]


class RulesPrinted(Frozen):
    """What `rules list --json` prints."""

    protocol: ProtocolPrinted
    rules: tuple[RulePrinted, ...]
    switched_off: tuple[SwitchedOff, ...]


class RulePage(RulePrinted):
    """One rule with its citations, what it names and what names it."""

    cited: tuple[Source, ...]
    used_by: tuple[str, ...]
    names: tuple[str, ...]


class PagePrinted(Frozen):
    """What `rules show --json` prints: each entry of that id."""

    id: str
    entries: tuple[RulePage, ...]


class Named(Frozen):
    """A set of rules by name and version."""

    name: str
    version: str


class FieldPrinted(Frozen):
    """One field that an overlay changes, in words."""

    name: str
    ours: str | None
    theirs: str


class OverlayItem(Frozen):
    """One rule that an overlay changes, adds or switches off."""

    what: Literal["changed", "added", "switched off"]
    kind: str
    id: str
    file: str
    because: str
    ours: str | None
    theirs: str | None
    sources: tuple[str, ...]
    fields: tuple[FieldPrinted, ...]


class OverlayPrinted(Frozen):
    """What `rules overlay --json` prints."""

    ours: Named
    theirs: Named
    differences: tuple[OverlayItem, ...]
