"""The line of a field is the line a person finds it on."""

from __future__ import annotations

import tomli
from hypothesis import assume, given
from hypothesis import strategies as st

from pathway.casefile.lines import dotted, field_lines, line_of

TEXT = '''\
# a comment with [brackets] and = signs
schema_version = 1
[child]                    # line 3
id = "x # = [" # c
b.c = 3.5
"a name" = [
  1, # ]
  [2, "]"],
  { k = 3.1, l = 'x' },
]
note = """
a = 1 \\""" x
[[visit]]"""

[[visit]]
date = 2024-01-01
  [visit.left]
  x = { value = 3, method = "a" }

[other]
y = 1

[[visit]]
[visit.left]
x = 1

[child.extra]
k = 2
'''


def test_each_field_has_its_line() -> None:
    lines = {dotted(path): line for path, line in field_lines(TEXT).items()}
    assert lines == {
        "schema_version": 2,
        "child": 3,
        "child.id": 4,
        "child.b": 5,
        "child.b.c": 5,
        "child.a name": 6,
        "child.a name[1]": 7,
        "child.a name[2]": 8,
        "child.a name[2][1]": 8,
        "child.a name[2][2]": 8,
        "child.a name[3]": 9,
        "child.a name[3].k": 9,
        "child.a name[3].l": 9,
        "child.note": 11,
        "visit": 15,
        "visit[1]": 15,
        "visit[1].date": 16,
        "visit[1].left": 17,
        "visit[1].left.x": 18,
        "visit[1].left.x.value": 18,
        "visit[1].left.x.method": 18,
        "other": 20,
        "other.y": 21,
        "visit[2]": 23,
        "visit[2].left": 24,
        "visit[2].left.x": 25,
        "child.extra": 27,
        "child.extra.k": 28,
    }


def test_a_missing_field_has_the_line_of_its_table() -> None:
    lines = field_lines(TEXT)
    assert line_of(lines, ("visit", 1, "date")) == 23
    assert line_of(lines, ("visit", 1, "left", "y")) == 24
    assert line_of(lines, ("operation",)) is None


_keys = st.sampled_from(["a", "b1", "'c d'", '"e.f"', '"g\\"h"', "i-j"])
_scalars = st.sampled_from(
    [
        "1",
        "-2.5",
        "true",
        "2024-03-20",
        "2024-03-20 10:00:00",
        '"#["',
        "'{x}'",
        '"""\n]\n"""',
        "'''a\n'''",
        "nan",
    ]
)
_values = st.recursive(
    _scalars,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda items: "[\n" + ",\n # [\n".join(items) + "\n]"),
        st.dictionaries(_keys, inner, max_size=3).map(
            lambda items: "{" + ", ".join(f"{key} = {value}" for key, value in items.items()) + "}"
        ),
        st.dictionaries(_keys, inner, max_size=3).map(
            lambda items: "{\n" + "".join(f"{key} = {value}, # }}\n" for key, value in items.items()) + "}"
        ),
    ),
    max_leaves=5,
)
_fields = st.tuples(st.lists(_keys, min_size=1, max_size=2).map(".".join), _values).map(" = ".join)
_headers = st.lists(_keys, min_size=1, max_size=3).map(" . ".join)
_statements = st.one_of(
    _fields, _headers.map("[{}]".format), _headers.map("[[{}]] # [".format), st.just(""), st.just("# = [")
)


@given(st.lists(_statements, max_size=12).map("\n".join))
def test_every_field_that_the_reader_finds_is_placed_and_no_other(text) -> None:
    try:
        document = tomli.loads(text)
    except tomli.TOMLDecodeError:
        assume(False)
    assert set(field_lines(text)) == set(_paths(document, ()))


def _paths(node, path):
    if path:
        yield path
    items = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for key, value in items:
        yield from _paths(value, (*path, key))
