"""Places of keys in every way TOML lets them be written."""

import tomllib

from tuftwork.files import key_page
from tuftwork.files.where import line_of, places

TEXT = '''a = 1
"b c".d = """
two [x]
lines"""
e = [ "x", # one
  [1, 2],
  { f = 3, "g.h" = '#' } ]

[[m]]
n = 1
[m.o]
p = 2024-01-01
[[m]]
n = 2
[[m.q]]
r = 1
[[m.q]]
r = "say \\"no\\""
[s.t]
u = true # end
'''
LINES = {
    ("a",): 1, ("b c",): 2, ("b c", "d"): 2, ("e",): 5, ("e", 0): 5, ("e", 1): 6, ("e", 1, 1): 6,
    ("e", 2): 7, ("e", 2, "f"): 7, ("e", 2, "g.h"): 7, ("m", 0): 9, ("m", 0, "n"): 10,
    ("m", 0, "o"): 11, ("m", 0, "o", "p"): 12, ("m", 1, "n"): 14, ("m", 1, "q", 0, "r"): 16,
    ("m", 1, "q", 1, "r"): 18, ("s", "t", "u"): 20,
}  # fmt: skip


def _paths(tables: object, path: tuple[str | int, ...] = ()) -> set[tuple[str | int, ...]]:
    pairs = tables.items() if isinstance(tables, dict) else enumerate(tables)  # type: ignore[arg-type]
    found = set()
    for key, value in pairs:
        found.add((*path, key))
        if isinstance(value, dict | list):
            found |= _paths(value, (*path, key))
    return found


def test_every_key_is_found_on_its_line() -> None:
    found = places(TEXT)
    assert {path: found[path].line for path in LINES} == LINES


def test_every_path_the_parser_sees_has_a_place() -> None:
    assert _paths(tomllib.loads(TEXT)) - {("s",)} <= set(places(TEXT))


def test_values_stand_where_the_place_says() -> None:
    for path, place in places(TEXT).items():
        value = TEXT[slice(*place.value)]
        if value.strip() and path[0] != "m":
            there: object = tomllib.loads(TEXT)
            for key in path:
                there = there[key]  # type: ignore[index]
            if not isinstance(there, dict) or value.startswith("{"):
                assert tomllib.loads(f"v = {value}")["v"] == there, path


def test_a_path_that_is_not_written_down_gets_its_tables_line() -> None:
    assert line_of(places(TEXT), ("m", 1, "missing")) == 13
    assert line_of(places(TEXT), ("nothing",)) == 1
    assert line_of({}, ("nothing",)) is None


def test_the_key_page_names_every_table_and_its_limits() -> None:
    page = key_page()
    for words in ("## `[car]`", "## `[car.front]` and `[car.rear]`", "`[[parts]]`, kind `wing`",
                  "`[[claims]]`, kind `top speed`", "`driveline` | ratio [%], above 0, at most 1 |",
                  "| `draws` | whole number, at least 32, at most 8192 | no; `256` |",
                  "list of: speed [km/h, m/s, mph, kn, ft/s], above 0"):  # fmt: skip
        assert words in page, words
    assert "20000 kg" in page
