"""How a clinic's table is read: what stands in each column, in which units, order and words. A TOML file and back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal, get_args

from pathway.casefile.fields import Complaints, Fields, nearest, show
from pathway.casefile.syntax import parse
from pathway.problems import Problem
from pathway.protocol.model import Protocol
from pathway.protocol.units import factor_of
from pathway.record import Frozen
from pathway.tables.values import ORDERS, DateOrder, DecimalSign

Role = Literal[
    "child",
    "date",
    "birth_date",
    "sex",
    "affected_side",
    "diagnosis",
    "growth_pattern",
    "side",
    "finding",
    "value",
    "category",
    "not_measured",
    "unit",
    "method",
    "visit_method",
    "skeletal_method",
    "skip",
    "measured",
]
ROLES: tuple[Role, ...] = get_args(Role)[:-1]
"""What a column may stand for, besides one finding."""
CARD: tuple[Role, ...] = ("birth_date", "sex", "affected_side", "diagnosis", "growth_pattern")
"""What a table may say of the child itself."""
SIDES_OF_COLUMN = ("left", "right", "affected", "other")
WORDS = ("methods", "skeletal_methods", "sides", "sexes", "diagnoses", "findings", "values")
"""Tables of a clinic's own words, each for what it stands for."""


class Column(Frozen):
    """What a column holds: a role, or as `measured` one finding with its side, unit and method where they are known."""

    role: Role
    finding: str = ""
    side: Literal["left", "right", "affected", "other"] | None = None
    unit: str | None = None
    method: str | None = None


class TableMapping(Frozen):
    """How a table is read. `columns` go by their heading, `words` by the table of words and the word.

    `heading_rows` are the rows that make up the headings, `fill_down` columns in which an empty cell means what stands
    above it. `method` is how it was measured where neither row nor column say so.
    """

    sheet: str | None = None
    heading_rows: tuple[int, ...] = (1,)
    date_order: DateOrder | None = None
    decimal: DecimalSign | None = None
    fill_down: tuple[str, ...] = ()
    method: str | None = None
    columns: Mapping[str, Column]
    words: Mapping[str, Mapping[str, str | bool]] = {}

    @property
    def long(self) -> bool:
        """Return whether each row is one measurement, and not one visit."""
        return any(column.role in ("value", "category") for column in self.columns.values())

    def of(self, role: Role) -> tuple[str, ...]:
        """Return the headings of the columns with a role."""
        return tuple(heading for heading, column in self.columns.items() if column.role == role)


def mapping_of_text(text: str, name: str, protocol: Protocol) -> TableMapping | tuple[Problem, ...]:
    """Return the mapping that a TOML text holds, or all its faults."""
    document = parse(text.removeprefix("\ufeff"), name)
    if isinstance(document, Problem):
        return (document,)
    complaints = Complaints(name)
    fields = Fields(complaints, (), document)
    methods = tuple(method.id for method in protocol.methods)
    made: dict[str, Any] = {
        "sheet": fields.text("sheet") or None,
        "heading_rows": _rows(fields),
        "date_order": fields.choice("date_order", ORDERS, "order"),
        "decimal": fields.choice("decimal", (",", "."), "decimal sign"),
        "fill_down": _texts(fields, "fill_down"),
        "method": fields.choice("method", methods, "method"),
    }
    section = fields.one_table("columns", required=True)
    columns = {} if section is None else {heading: _column(section, heading, protocol) for heading in section.table}
    words = fields.one_table("words")
    given = {} if words is None else {table: _words(words, table) for table in WORDS if words.has(table)}
    if words is not None:
        words.done("the words of a mapping")
    fields.done("a mapping")
    if complaints.entries:
        return complaints.faults(text)
    kept = {heading: column for heading, column in columns.items() if column is not None}
    return TableMapping(**made, columns=kept, words={table: said for table, said in given.items() if said})


def mapping_text(mapping: TableMapping, name: str, remarks: tuple[str, ...] = ()) -> str:
    """Return a mapping as a commented TOML text that reads back to it; `name` is the table it was made for."""
    import tomlkit  # noqa: PLC0415  (only writing needs it)

    made = tomlkit.document()
    for line in (
        f"How the columns of {name} are read. Correct what was guessed wrong, then import with --mapping.",
        f"A column is one of: {', '.join(ROLES)} (not read);",
        'or a finding (`limb-pathway manual findings`): { finding = "femur_length_mm", side = "left", unit = "cm" }',
        *remarks,
    ):
        made.add(tomlkit.comment(line))
    if mapping.sheet is not None:
        made.add("sheet", tomlkit.item(mapping.sheet))
    made.add("heading_rows", tomlkit.item(list(mapping.heading_rows)))
    for key, value, hint in (
        ("date_order", mapping.date_order, 'date_order = "day-month-year"   # or "month-day-year", "year-month-day"'),
        ("decimal", mapping.decimal, 'decimal = ","   # or "."'),
        ("method", mapping.method, 'method = "standing_full_length_film"   # where neither row nor column say how'),
    ):
        if value is None:
            made.add(tomlkit.comment(hint))
        else:
            made.add(key, tomlkit.item(value))
    if mapping.fill_down:
        made.add("fill_down", tomlkit.item(list(mapping.fill_down)))
    else:
        made.add(tomlkit.comment('fill_down = ["Patient"]   # columns where an empty cell means what stands above'))
    columns = tomlkit.table()
    for heading, column in mapping.columns.items():
        columns.add(heading, _written(column))
    made.add("columns", columns)
    words = tomlkit.table()
    for table in WORDS:
        given = tomlkit.table()
        for word, meant in mapping.words.get(table, {}).items():
            given.add(word, tomlkit.item(meant))
        words.add(table, given)
    made.add("words", words)
    return tomlkit.dumps(made)


def _written(column: Column) -> Any:
    import tomlkit  # noqa: PLC0415  (as above)

    if column.role != "measured":
        return tomlkit.item(column.role)
    made = tomlkit.inline_table()
    for key in ("finding", "side", "unit", "method"):
        if (value := getattr(column, key)) is not None:
            made.append(key, value)
    return made


def _rows(fields: Fields) -> tuple[int, ...]:
    value = fields.take("heading_rows")
    if value is None:
        return (1,)
    sound = isinstance(value, list) and all(type(one) is int and one > 0 for one in value)
    if sound and isinstance(value, list) and value and value == list(range(value[0], value[0] + len(value))):
        return tuple(value)
    fields.wrong("heading_rows", "the numbers of neighbouring rows", "write `heading_rows = [1]`", found=show(value))
    return (1,)


def _texts(fields: Fields, key: str) -> tuple[str, ...]:
    value = fields.take(key)
    if value is None:
        return ()
    if isinstance(value, list) and all(isinstance(one, str) for one in value):
        return tuple(value)
    fields.wrong(key, "a list of headings", f'write `{key} = ["…"]`', found=show(value))
    return ()


def _words(words: Fields, name: str) -> dict[str, str | bool]:
    table = words.one_table(name)
    if table is None:
        return {}
    made: dict[str, str | bool] = {}
    for word in table.table:
        value = table.take(word)
        if isinstance(value, str) or (isinstance(value, bool) and name == "values"):
            made[word] = value
        else:
            table.wrong(word, "what the word stands for, as text", 'write `"their word" = "ours"`', found=show(value))
    return made


def _column(section: Fields, heading: str, protocol: Protocol) -> Column | None:
    raw = section.take(heading)
    if isinstance(raw, str):
        return _role(section, heading, raw, protocol)
    fields = section.one_table(heading)
    if fields is None:
        return None
    finding = _finding(fields, _measurable(protocol))
    side = fields.choice("side", SIDES_OF_COLUMN, "side")
    unit = fields.text("unit") or None
    skeletal = finding == "skeletal_age_years"
    ways = (one.id for one in (protocol.skeletal_methods if skeletal else protocol.methods))
    method = fields.choice("method", tuple(ways), "method")
    fields.done("a column")
    if finding is None:
        return None
    rule = protocol.finding(finding)
    if unit is not None and factor_of(rule.unit, unit) is None:
        fields.wrong("unit", f"a unit that goes with {rule.unit or 'a finding without one'}", "correct it")
    if side is not None and rule.of == "child":
        fields.wrong("side", "no side: it is a finding of the whole child", "remove it")
    return Column.model_validate({"role": "measured", "finding": finding, "side": side, "unit": unit, "method": method})


def _role(section: Fields, heading: str, said: str, protocol: Protocol) -> Column | None:
    role = next((one for one in ROLES if one == said), None)
    if role is not None:
        return Column(role=role)
    near = nearest(said, ROLES)
    if said in _measurable(protocol):
        do = f'a finding stands in braces: `{{ finding = "{said}" }}`'
    else:
        do = f'did you mean "{near}"' if near else 'write "skip" where the column is not to be read'
    section.wrong(heading, f"a kind of column: {', '.join(ROLES)}, or a finding in braces", do)
    return None


def _finding(fields: Fields, known: tuple[str, ...]) -> str | None:
    said = fields.take("finding")
    if isinstance(said, str) and said in known:
        return said
    near = nearest(said, known)
    do = f'did you mean "{near}"' if near else "`limb-pathway manual findings` names them"
    fields.wrong("finding", f"a finding of the protocol ({len(known)} known)", do)
    return None


def _measurable(protocol: Protocol) -> tuple[str, ...]:
    """Return the findings that a table may hold: those that are entered, and the skeletal age."""
    return tuple(rule.id for rule in protocol.findings if not rule.derived or rule.id == "skeletal_age_years")
