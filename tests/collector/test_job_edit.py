"""Changes to a job file: everything else stays as it was written, comments and all, or the change is refused."""

import tomllib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from collector.job_edit import MOST_WORK, Bare, Change, EditError, bare, edited
from tests.collector.job_texts import FULL

SHORT = """\
# top
[furnace]
rise = ["35 degF", "65 degF"]   # the window

# about the site
[site]   # s
name = "x"
# end of the site

[furnace.timing]
prepurge = 15

# the first
[[limit]]
point = "temp_supply"  # p
above = "170 degF"

# the second
[[limit]]
point = "temp_rise"
below = "36 degF"
# tail
"""


def change(text: str, *changes: tuple[tuple[str | int, ...], Any]) -> str:
    return edited(text, [Change(path, value) for path, value in changes])


@pytest.mark.parametrize(
    ("path", "value", "before", "after"),
    [
        (("furnace", "rise"), ["40 degF", "70 degF"], '["35 degF", "65 degF"]   #', '["40 degF", "70 degF"]   #'),
        (("furnace", "fuel"), "propane", "   # the window\n", '   # the window\nfuel = "propane"\n'),
        (("furnace", "timing", "trials"), Bare("3"), "prepurge = 15\n", "prepurge = 15\ntrials = 3\n"),
        (("site", "altitude"), "2600 ft", 'name = "x"\n', 'name = "x"\naltitude = "2600 ft"\n'),
        (("furnace", "rise"), None, 'rise = ["35 degF", "65 degF"]   # the window\n', "# the window\n"),
        (("limit", 1, "above"), None, "zzz", "zzz"),
        (("limit", 0), None, '[[limit]]\npoint = "temp_supply"  # p\nabove = "170 degF"\n\n', "\n"),
        (("limit", 1, "text"), r"a \ and 'b'", "# tail", "text = \"a \\\\ and 'b'\"\n# tail"),
        (
            ("furnace", "baseline", "draft_vent"),
            "0.35 inH2O",
            "prepurge = 15\n",
            'prepurge = 15\n\n[furnace.baseline]\ndraft_vent = "0.35 inH2O"\n',
        ),
        (("limit", 2), {"point": "temp_flue"}, "# tail", '\n[[limit]]\npoint = "temp_flue"\n# tail'),
        (("humidifier", "setting"), Bare("0.40"), "# tail\n", "# tail\n\n[humidifier]\nsetting = 0.40\n"),
    ],
)
def test_a_change_touches_its_own_place_and_nothing_else(path, value, before, after):
    expected = SHORT.replace(before, after)
    if path == ("limit", 0):  # the gap before and the one behind become one
        expected = SHORT.replace(f"\n# the first\n{before}", "\n# the first\n\n")
    assert change(SHORT, (path, value)) == expected


def test_every_way_to_write_a_table_is_followed():
    text = change(FULL, (("site", "altitude"), "3000 ft"), (("furnace", "timing", "trials"), Bare("5")))
    assert 'site = { name = "invented house", altitude = "3000 ft" }' in text
    assert "\ntiming.trials = 5\n" in text
    text = change(FULL, (("heat_pump", "capacity_17"), None), (("unit", "serial"), None))
    assert "heat_pump.capacity_17" not in text
    assert 'unit = { model = "INV-80", installed = 2014-10-01 }' in text
    text = change(FULL, (("instrument", 1, "channels"), {"inlet": "gas_manifold", "more": "gas_inlet"}))
    assert '[instrument.channels]\ninlet = "gas_manifold"\nmore = "gas_inlet"\n[[limit]]' in text
    text = change(FULL, (("furnace", "input"), ["70 kBtu/hr", "50 kBtu/hr"]))
    assert 'input = [\n    "70 kBtu/hr",   # high\n    "50 kBtu/hr",\n]\n' in text
    assert change(FULL, (("furnace", "input"), ["70 kBtu/hr"])).count("# high\n") == 1
    nested = change('furnace = { fuel = "propane" }\n', (("furnace", "baseline", "draft_vent"), "1 Pa"))
    assert nested == 'furnace = { fuel = "propane", baseline = { draft_vent = "1 Pa" } }\n'


def test_a_file_is_begun_from_nothing():
    text = change(
        "",
        (("furnace", "rise"), ["35 degF", "65 degF"]),
        (("furnace", "baseline", "draft_vent"), "0.35 inH2O"),
        (("instrument", 0), {"name": "m", "line": r"(?P<a>\d+)", "channels": {"a": "draft_switch"}}),
    )
    assert text == (
        '[furnace]\nrise = ["35 degF", "65 degF"]\n\n[furnace.baseline]\ndraft_vent = "0.35 inH2O"\n\n'
        '[[instrument]]\nname = "m"\nline = \'(?P<a>\\d+)\'\nchannels = { a = "draft_switch" }\n'
    )


@pytest.mark.parametrize(
    ("text", "path", "value"),
    [
        ("limit = [{ point = 'a' }]\n", ("limit", 1), {"point": "b"}),
        ("[[limit]]\npoint = 'a'\n", ("limit", 5), {"point": "b"}),
        ("[[limit]]\npoint = 'a'\n", ("limit", 1), None),
        ("furnace = 3\n", ("furnace", "fuel"), "propane"),
        ("[[instrument]]\nname = 'a'\n[site]\nname = 'b'\n[instrument.units]\nx = 'Pa'\n", ("instrument", 0), None),
        ("this is no TOML\n", ("furnace", "fuel"), "propane"),
    ],
)
def test_what_cannot_be_changed_alone_is_refused(text, path, value):
    with pytest.raises(EditError, match="text"):
        change(text, (path, value))


def test_too_much_at_once_is_refused_before_any_work():
    with pytest.raises(EditError, match="too many changes at once"):
        change(FULL, *[(("furnace", "fuel"), "propane")] * (MOST_WORK // len(FULL) + 1))
    with pytest.raises(EditError, match="larger than 200 kB"):
        change("x = 1\n#" + "x" * 199_000, (("site", "name"), "y" * 2000))


@pytest.mark.parametrize("text", ["0.50", "-3", "17", "+2.5"])
def test_a_plain_number_stands_without_quotes_as_it_was_typed(text):
    assert f"\nsetting = {text}\n" in change("", (("humidifier", "setting"), bare(text)), (("site", "name"), "x"))


@pytest.mark.parametrize("text", ["05", "1_000", "1e5", "nan", "0x10", "35 degF", "1.", "", "٣"])
def test_anything_else_is_a_text(text):
    assert not isinstance(bare(text), Bare)


KEYS = [
    ("furnace", "fuel"),
    ("furnace", "rise"),
    ("furnace", "input"),
    ("furnace", "timing", "prepurge"),
    ("furnace", "baseline", "draft_vent"),
    ("site", "name"),
    ("unit", "serial"),
    ("heat_pump", "capacity_47"),
    ("humidifier", "setting"),
    ("archive", "url"),
    ("limit", 0, "above"),
    ("limit", 1, "text"),
    ("limit", 1, "point"),
    ("instrument", 0, "channels"),
    ("instrument", 0, "name"),
]
texts = some.text(some.characters(codec="utf-8"), max_size=20)
values = some.one_of(
    texts,
    some.booleans(),
    some.integers(-999, 999).map(lambda number: Bare(str(number))),
    some.lists(texts, min_size=1, max_size=3),
    some.dictionaries(some.text("abc_. #'\"é", min_size=1, max_size=5), texts, min_size=1, max_size=3),
)
documents = some.sampled_from(
    [SHORT, FULL, "", "# alone\n", "[site]\n# empty\n", 'a = "# none"\n[[limit]]\npoint="x" # y']
)


def plain(value: Any) -> Any:
    return int(value) if isinstance(value, Bare) else value


def comments(text: str) -> list[str]:
    """Comments of the texts above, in any order: none of their values has a number sign but one."""
    return sorted(line.partition("#")[2].strip() for line in text.splitlines() if "#" in line and "# none" not in line)


def at(tables: Any, path: tuple[str | int, ...]) -> Any:
    for part in path:
        try:
            tables = tables[part]
        except (KeyError, IndexError, TypeError):
            return None
    return tables


@settings(max_examples=300, deadline=None)
@given(documents, some.sampled_from(KEYS), some.one_of(some.none(), values))
def test_any_change_leaves_comments_and_every_other_value(text, path, value):
    whole = tomllib.loads(text)
    if isinstance(path[1], int) and len(whole.get(path[0], [])) <= path[1]:
        with pytest.raises(EditError):
            change(text, (path, value if value is not None else "x"))
        return
    result = change(text, (path, value))
    read = tomllib.loads(result)
    assert at(read, path) == plain(value) or (not value and at(read, path) in (None, {}))
    for other in KEYS:
        if other != path:
            assert at(read, other) == at(whole, other)
    without = change(result, (path, None))  # a value may look like a comment
    assert comments(without) == comments(change(text, (path, None))) == comments(text)


@settings(max_examples=200, deadline=None)
@given(documents, some.sampled_from(["limit", "instrument"]), some.dictionaries(some.text("abc", min_size=1), values))
def test_an_entry_that_is_added_and_removed_leaves_the_text_as_it_was(text, section, entry):
    count = len(tomllib.loads(text).get(section, []))
    added = change(text, ((section, count), entry))
    assert tomllib.loads(added)[section][count] == {key: plain(value) for key, value in entry.items()}
    removed = change(added, ((section, count), None))
    assert removed.rstrip("\n") == text.rstrip("\n")
    assert tomllib.loads(removed) == tomllib.loads(text)


@settings(max_examples=200, deadline=None)
@given(documents, some.sampled_from([path for path in KEYS if isinstance(path[1], str)]), values)
def test_a_key_that_is_added_and_removed_leaves_an_equal_document(text, path, value):
    begun = change(text, (path, None))
    again = change(change(begun, (path, value)), (path, None))
    assert _lines(again) == _lines(begun)


def _lines(text: str) -> list[str]:
    """Lines that are neither empty nor a heading: one that was made for the key stays, and says nothing."""
    return [line for line in text.splitlines() if line.strip() and not line.startswith("[")]
