"""The checked reading of TOML: what is read, and every kind of bad input."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from astropy import units
from astropy.time import Time

from wobble.errors import InputError, UnknownNameError
from wobble.text.toml_section import Section, parse_quantity, read_toml

GOOD = """\
# A scenario.
name = "rehearsal"
count = 3
ratio = 0.5
enabled = true
start = 2031-05-01T06:00:00
bodies = ["mars", "earth"]
masks = ["10 deg", "0.1 rad"]

[station.alpha]
x = "4000 km"

[station."beta 2"]
x = "1e3 m"  # metres

[[lander]]
name = "one"
[[lander.antenna]]
azimuth = "90 deg"
[[lander.antenna]]
azimuth = "270 deg"

[[lander]]
name = "two"
  [[lander.antenna]]
  azimuth = "1 rad"
  inline = { width = "3 deg", depth = "x" }
"""

Read = Callable[[str], Section]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    def write_and_read(text: str) -> Section:
        path = tmp_path / "file.toml"
        path.write_text(text, encoding="utf-8")
        return read_toml(path)

    return write_and_read


@pytest.fixture
def good(read: Read) -> Section:
    return read(GOOD)


# ---------------------------------------------------------------------------------------------
# What is read


def test_each_kind_of_value_is_read(good: Section) -> None:
    assert good.text("name") == "rehearsal"
    assert good.integer("count") == 3
    assert good.number("ratio") == 0.5
    assert good.number("count") == 3.0
    assert good.flag("enabled") is True
    assert good.texts("bodies") == ["mars", "earth"]
    np.testing.assert_allclose(good.quantities("masks", "rad"), [np.radians(10), 0.1])
    assert "ratio" in good
    assert "rate" not in good
    assert list(good) == good.keys()


def test_defaults_stand_in_for_keys_left_out(good: Section) -> None:
    assert good.text("other", "x") == "x"
    assert good.integer("other", 0) == 0
    assert good.number("other", 0.0) == 0.0
    assert good.flag("other", False) is False
    assert good.texts("other", []) == []
    assert good.quantity("other", "rad", "180 deg") == pytest.approx(np.pi)
    assert good.section("other", {}).keys() == []
    assert good.sections("others") == []


def test_tables_inside_tables_are_read(good: Section) -> None:
    stations = dict(good.section("station").named_sections())
    assert {name: s.quantity("x", "m") for name, s in stations.items()} == {
        "alpha": 4.0e6,
        "beta 2": 1.0e3,
    }
    landers = good.sections("lander")
    antennas = [[a.quantity("azimuth", "deg") for a in s.sections("antenna")] for s in landers]
    np.testing.assert_allclose(np.concatenate(antennas), [90, 270, np.degrees(1)])
    assert landers[1].sections("antenna")[0].name == "lander[2].antenna[1]"


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("2031-05-01T06:00:00", "2031-05-01T06:00:00"),
        ('"2031-05-01T06:00:00"', "2031-05-01T06:00:00"),
        ('"2031-05-01 06:00"', "2031-05-01T06:00:00"),
        ("2031-05-01", "2031-05-01T00:00:00"),
        ("2031-05-01T06:00:00Z", "2031-05-01T06:00:00"),
        ("2031-05-01T08:00:00+02:00", "2031-05-01T06:00:00"),
    ],
)
@pytest.mark.filterwarnings("ignore:ERFA function")
def test_dates_are_read_as_utc(read: Read, written: str, expected: str) -> None:
    found = read(f"start = {written}").epoch("start")
    assert found.scale == "utc"
    assert found == Time(expected, scale="utc")


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("10 deg", "rad", np.pi / 18),
        ("-7608.3 mas/yr", "rad / s", -7608.3 * np.pi / 648e6 / (365.25 * 86400)),
        ("1.2e13 m3 / s2", "km3 / s2", 1.2e4),
        (" .5km ", "m", 500.0),
        ("+3. d", "s", 3 * 86400.0),
        ("0.061", "", 0.061),
        ("50 %", "", 0.5),
        ("0 1/m2", "1 / m2", 0.0),
    ],
)
def test_quantities_are_converted(text: str, unit: str, expected: float) -> None:
    assert parse_quantity(text, unit) == pytest.approx(expected, rel=1e-15)


def test_quantities_are_those_of_astropy() -> None:
    for text, unit in (("3.7 mas / yr", "rad / s"), ("880 MHz", "Hz"), ("12 hPa", "Pa")):
        assert parse_quantity(text, unit) == units.Quantity(text).to_value(unit)


# ---------------------------------------------------------------------------------------------
# Bad files


def test_a_missing_file_a_folder_and_a_binary_file_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none.toml: the file is not found"):
        read_toml(tmp_path / "none.toml")
    with pytest.raises(InputError, match=r"is a folder, not a file"):
        read_toml(tmp_path)
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b"\x89PNG\r\n\xff\xfe\x00")
    with pytest.raises(InputError, match=r"binary.toml: is not text; found 'bytes that"):
        read_toml(binary)


@pytest.mark.parametrize("text", ["", "\n\n", "# only a comment\n"])
def test_an_empty_file_is_refused(read: Read, text: str) -> None:
    with pytest.raises(InputError, match=r"file.toml: is empty; expected a TOML file with keys"):
        read(text)


@pytest.mark.parametrize(
    ("text", "line"),
    [("a = 1\nb = 2 km\n", 2), ("a = 1\n\na = 2\n", 3), ('[s]\nx = "open\n', 2)],
)
def test_broken_toml_is_refused_with_its_line(read: Read, text: str, line: int) -> None:
    with pytest.raises(InputError, match="is not valid TOML") as caught:
        read(text)
    assert caught.value.line == line


# ---------------------------------------------------------------------------------------------
# Bad keys


@pytest.mark.parametrize(
    ("value", "line"),
    [
        # TOML 1.0.0: whole numbers have 64 bits, and more must be refused.
        ("9223372036854775808", 3),
        ("[1, -9223372036854775809]", 3),
        ("9" * 400, 3),
        ("9" * 5000, None),
        ("[" * 5000 + "]" * 5000, None),
    ],
)
def test_endless_numbers_and_nesting_are_refused(read: Read, value: str, line: int | None) -> None:
    with pytest.raises(InputError, match="is not valid TOML") as caught:
        read(f"[a]\nb = 9223372036854775807\nc.d = {value}\n")
    assert caught.value.line == line


def test_a_missing_key_is_named_with_its_table(good: Section) -> None:
    with pytest.raises(InputError) as caught:
        good.section("station").section("alpha").quantity("height", "m")
    assert str(caught.value) == (
        f"{good.path}, line 10: station.alpha.height: a key is missing; found 'the keys x'; "
        'expected a number with its unit, such as "1 m"'
    )
    with pytest.raises(InputError, match=r"file.toml: stop: a key is missing") as caught:
        good.epoch("stop")
    assert caught.value.line is None


def test_a_key_that_nobody_asked_for_is_named_with_the_nearest(read: Read) -> None:
    section = read('[campaign]\nnmae = "x"\n').section("campaign")
    section.text("name", "nothing")
    section.number("ratio", 1.0)
    with pytest.raises(UnknownNameError) as caught:
        section.finish()
    assert str(caught.value) == (
        f"{section.path}, line 2: campaign: unknown key; found 'nmae'; "
        "expected perhaps 'name' (one of name, ratio)"
    )
    top = read("nmae = 1\n")
    with pytest.raises(UnknownNameError, match=r"file.toml, line 1: unknown key; found 'nmae'"):
        top.finish()


def test_all_keys_asked_for_are_well(read: Read) -> None:
    section = read('name = "x"\n[part]\n')
    section.text("name")
    section.section("part")
    assert section.finish() is section


# ---------------------------------------------------------------------------------------------
# Bad values


@pytest.mark.parametrize(
    ("line", "read_it", "message"),
    [
        ("v = 10", lambda s: s.quantity("v", "m"), "wrong form; found 10; expected a number with"),
        ('v = "10"', lambda s: s.quantity("v", "m"), "is given without a unit; found '10'"),
        ('v = "10 deg"', lambda s: s.quantity("v", "m"), "is given in deg, which does not conv"),
        ('v = "10 mas"', lambda s: s.quantity("v", "mas / yr"), "in mas, which does not convert"),
        ('v = "10 metres"', lambda s: s.quantity("v", "m"), "is given in no unit that is known"),
        ('v = "far"', lambda s: s.quantity("v", "m"), "is no number with a unit; found 'far'"),
        ('v = "1.2.3 m"', lambda s: s.quantity("v", "m"), "is no number with a unit"),
        ('v = "5 3 m"', lambda s: s.quantity("v", "m"), "is no number with a unit"),
        ('v = "1,5 m"', lambda s: s.quantity("v", "m"), "is given in no unit that is known"),
        ('v = "1 m,s"', lambda s: s.quantity("v", "m"), "is given in several units"),
        ('v = "1 m,"', lambda s: s.quantity("v", "m"), "is given in several units"),
        ('v = "1 dex(m)"', lambda s: s.quantity("v", "m"), "or in a logarithmic one"),
        ('v = ""', lambda s: s.quantity("v", "m"), "is no number with a unit"),
        ('v = "nan m"', lambda s: s.quantity("v", "m"), "is no number with a unit"),
        ('v = "inf m"', lambda s: s.quantity("v", "m"), "is no number with a unit"),
        ('v = "1e999 m"', lambda s: s.quantity("v", "m"), "is not a finite number"),
        ('v = ["1 m", 2]', lambda s: s.quantities("v", "m"), "wrong form; found 2; expected a num"),
        ('v = "1 m"', lambda s: s.quantities("v", "m"), "wrong form; .* expected a list of a num"),
        ("v = nan", lambda s: s.number("v"), "is not finite; found nan"),
        ("v = inf", lambda s: s.number("v"), "is not finite; found inf"),
        ("v = true", lambda s: s.number("v"), "wrong form; found True; expected a number"),
        ("v = true", lambda s: s.integer("v"), "wrong form; found True; expected a whole number"),
        ("v = 1.5", lambda s: s.integer("v"), "wrong form; found 1.5; expected a whole number"),
        ("v = 1", lambda s: s.flag("v"), "wrong form; found 1; expected true or false"),
        ("v = 1", lambda s: s.text("v"), "wrong form; found 1; expected a string"),
        ('v = ["a", 1]', lambda s: s.texts("v"), "is not a string; found 1"),
        ("v = 1", lambda s: s.section("v"), "wrong form; found 1; expected a table"),
        ("v = {}", lambda s: s.text("v"), "wrong form; found 'a table'; expected a string"),
        ("v = [1]", lambda s: s.sections("v"), r"is not a table; found 1; expected \[\[v\]\]"),
        ("v = {}", lambda s: s.sections("v"), "expected an array of tables"),
        ("v = 2031", lambda s: s.epoch("v"), "wrong form; found 2031; expected a date"),
        ("v = 06:00:00", lambda s: s.epoch("v"), "wrong form; .* expected a date and time in UTC"),
        ('v = "May"', lambda s: s.epoch("v"), "is not a date; found 'May'; expected UTC as in"),
        ('v = "2031-13-01"', lambda s: s.epoch("v"), "is not a date; found '2031-13-01'"),
    ],
)
def test_a_bad_value_is_refused_with_line_key_and_what_was_expected(
    read: Read, line: str, read_it: Callable[[Section], object], message: str
) -> None:
    section = read(f"a = 1\n[part]\nb = 2\n{line}\n").section("part")
    with pytest.raises(InputError, match=message) as caught:
        read_it(section)
    assert (caught.value.line, caught.value.field) == (4, "part.v")
    assert str(section.path) in str(caught.value)


# ---------------------------------------------------------------------------------------------
# Lines


def test_lines_are_right_in_nested_arrays_of_tables(good: Section) -> None:
    first, second = good.sections("lander")
    assert (first.line("name"), second.line("name")) == (17, 24)
    antennas = [*first.sections("antenna"), *second.sections("antenna")]
    assert [a.line("azimuth") for a in antennas] == [19, 21, 26]
    # A key that is not there: the table that lacks it.
    assert [a.line("elevation") for a in antennas] == [18, 20, 25]


def test_keys_of_an_inline_table_have_its_line(good: Section) -> None:
    inline = good.sections("lander")[1].sections("antenna")[0].section("inline")
    with pytest.raises(InputError, match=r"line 27: lander\[2\].antenna\[1\].inline.depth: is no"):
        inline.quantity("depth", "m")


def test_lines_are_right_for_quoted_dotted_and_indented_keys(read: Read) -> None:
    top = read(
        'a.b = 1\n"c.d" = 2\n[ e . f ] # more\n  g = 3\n\'h\' = 4\n[e."f.x"]\ng = 5\n[z]\na = 6\n'
    )
    assert top.section("a").line("b") == 1
    assert top.line("c.d") == 2
    nested = top.section("e").section("f")
    assert (nested.line("g"), nested.line("h")) == (4, 5)
    assert top.section("e").section("f.x").line("g") == 7
    assert top.section("z").line("a") == 9


def test_a_missing_key_with_a_dot_is_missed_in_its_table(read: Read) -> None:
    top = read('[part]\na = 1\n"pole.rate" = "1 m"\n')
    with pytest.raises(InputError, match=r"line 1: part.pole.angle: a key is missing"):
        top.section("part").quantity("pole.angle", "rad")


def test_what_looks_like_a_key_in_a_long_string_is_none(read: Read) -> None:
    top = read('text = """\nkey = 1\n[part]\n"""\n[part]\nkey = "x"\n')
    assert (top.section("part").line("key"), top.section("part").line("other")) == (6, 5)
    once = read("text = '''one line'''\nkey = 1\n")
    assert once.line("key") == 2
