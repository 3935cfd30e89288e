"""Checked reading of TOML: every key known, every value with its unit.

In: a TOML file. Out: a `Section`, from which a reader takes quantities, names, numbers
and further sections, and which complains about what was not asked for.

A value with a dimension is a string with its unit, as astropy reads it (``"10 deg"``,
``"0.05 mm/s"``, ``"-7608 mas/yr"``); a bare number there is an error, since a unit guessed
is a mistake waiting. Every complaint names file, line, key, what was found, what was
expected.
"""

from __future__ import annotations

import copy
import difflib
import re
import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, Self

import numpy as np
from astropy import units
from astropy.time import Time

from wobble.errors import InputError, UnknownNameError
from wobble.text.lines import why_unreadable

__all__ = ["Section", "parse_quantity", "read_toml"]

USUAL = {"rad": "deg", "rad / s": "deg / d"}
"""Units in which people write what is kept in another one."""
NEAR = 0.75
"""Likeness (difflib's ratio) of a key to one that is missing, from which it may be meant."""

# A bare or quoted key, a line that begins with a dotted key and "=", a line that is a header.
_PART = r"""(?:[\w-]+|"[^"]*"|'[^']*')"""
_DOTTED = rf"{_PART}(?:\s*\.\s*{_PART})*"
_KEY = re.compile(rf"\s*({_DOTTED})\s*=")
_HEADER = re.compile(rf"\s*(\[\[?)\s*({_DOTTED})\s*\]\]?\s*(?:#.*)?")


def read_toml(path: str | Path) -> Section:
    """Read a TOML file as a `Section`.

    Raises
    ------
    InputError
        If the file cannot be read, is not text, is empty, or is not TOML (with the line).
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise InputError(why_unreadable(error), source=path) from error
    except UnicodeDecodeError as error:
        raise InputError(
            "is not text", source=path, found="bytes that are not UTF-8", expected="a TOML file"
        ) from error
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # endless numbers and nesting are neither
        where = re.search(r"line (\d+)", str(error))
        raise InputError(
            f"is not valid TOML: {error}",
            source=path,
            line=int(where.group(1)) if where else None,
        ) from error
    if not data:
        raise InputError("is empty", source=path, expected="a TOML file with keys")
    top = Section(path, _find_lines(text), "", data)
    huge = _huge_number(data)
    if huge is not None:
        raise top.error(huge, "is not valid TOML", "a huge whole number", "one of 64 bits")
    return top


def usual_unit(unit: str) -> str:
    """The unit in which people write what is kept in ``unit``."""
    return USUAL.get(unit, unit)


def parse_quantity(text: str, unit: str, user: str = "") -> float:
    """A number with its unit as a float in ``unit``.

    Parameters
    ----------
    text : str
    unit : str
        Of the result, as astropy reads it.
    user : str, optional
        The unit that messages name; the usual one if left out.

    Raises
    ------
    ValueError
        If it is no quantity (the message says why), or its dimension is another one.
    """
    match = re.fullmatch(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*", text)
    if match is None:
        raise ValueError("no number with a unit")
    value = float(match.group(1))
    if not np.isfinite(value):
        raise ValueError("not a finite number")
    try:
        given = units.Unit(match.group(2), parse_strict="raise")
    except (ValueError, TypeError) as error:
        raise ValueError(
            f"given in no unit that is known ({str(error).splitlines()[0]})"
        ) from error
    if not isinstance(given, units.UnitBase):
        raise ValueError("given in several units, or in a logarithmic one")
    if given.scale != 1.0:  # a second number, as in "1.2.3 m", is no part of a unit
        raise ValueError("no number with a unit")
    wanted = units.Unit(unit)
    if not given.is_equivalent(wanted):
        name = given.to_string()
        raise ValueError(
            f"given in {name}, which does not convert to {user or usual_unit(unit)}"
            if name
            else "given without a unit"
        )
    return float((value * given).to_value(wanted))


def _huge_number(value: object, name: str = "") -> str | None:
    """Dotted name of a whole number of more than the 64 bits that TOML has, if there is one."""
    if isinstance(value, dict):
        parts = [(f"{name}.{key}".lstrip("."), part) for key, part in value.items()]
    elif isinstance(value, list):
        parts = [(name, part) for part in value]
    else:
        huge = isinstance(value, int) and not -(2**63) <= value < 2**63
        return name if huge else None
    found = (_huge_number(part, key) for key, part in parts)
    return next((key for key in found if key is not None), None)


def _find_lines(text: str) -> dict[str, int]:
    """Line, from 1, of each key and table of a TOML text, by dotted name.

    The tables of an array have their number in the name, ``"lander.antenna[2]"``. What stands
    inside an inline table or array has no line of its own.
    """
    lines: dict[str, int] = {}
    arrays: Counter[str] = Counter()
    table: list[str] = []
    quote = None
    for number, line in enumerate(text.splitlines(), start=1):
        if quote:
            quote = None if quote in line else quote
            continue
        quote = next((q for q in ('"""', "'''") if line.count(q) % 2), None)
        if header := _HEADER.fullmatch(line):
            path = _parts(header.group(2))
            if header.group(1) == "[[":
                arrays[".".join([*_numbered(path[:-1], arrays), path[-1]])] += 1
            path = table = _numbered(path, arrays)
        elif key := _KEY.match(line):
            path = table + _parts(key.group(1))
        else:
            continue
        for depth in range(1, len(path) + 1):
            name = ".".join(path[:depth])
            lines.setdefault(name, number)
            lines.setdefault(re.sub(r"\[\d+\]$", "", name), number)
    return lines


def _parts(dotted: str) -> list[str]:
    """Parts of a dotted key, without quotation marks."""
    return [part.strip("\"'") for part in re.findall(_PART, dotted)]


def _numbered(tables: list[str], arrays: Counter[str]) -> list[str]:
    """Names of nested tables, each with the number of the latest one if it is an array."""
    path: list[str] = []
    for table in tables:
        name = ".".join([*path, table])
        path.append(f"{table}[{arrays[name]}]" if name in arrays else table)
    return path


class Section:
    """A table of a TOML file, read key by key.

    Parameters
    ----------
    path : Path
        The file.
    lines : dict of str to int
        Line of each key and table of the file.
    name : str
        Dotted name of the table; empty for the whole file.
    data : dict
        Its content.
    """

    def __init__(self, path: Path, lines: dict[str, int], name: str, data: dict[str, Any]) -> None:
        self.path = path
        self.name = name
        self._lines = lines
        self._data = data
        self._asked: set[str] = set()
        self._known: set[str] = set()

    # ------------------------------------------------------------------ access

    def __contains__(self, key: str) -> bool:
        self._known.add(key)
        return key in self._data

    def __iter__(self) -> Iterator[str]:
        return iter(self._data)

    def keys(self) -> list[str]:
        """Keys that stand in the table."""
        return list(self._data)

    def content(self) -> dict[str, Any]:
        """All that stands in the table, as TOML gives it: a copy."""
        self._asked.update(self._data)
        return copy.deepcopy(self._data)

    def with_content(self, data: dict[str, Any]) -> Section:
        """A table of the same file and name with other content, to be read anew."""
        return Section(self.path, self._lines, self.name, data)

    def text(self, key: str, default: str | None = None) -> str:
        """A string."""
        return str(self._typed(key, str, "a string", default))

    def texts(self, key: str, default: list[str] | None = None) -> list[str]:
        """A list of strings."""
        values = self._typed(key, list, "a list of strings", default)
        for value in values:
            if not isinstance(value, str):
                raise self.error(key, "is not a string", value, "a list of strings")
        return list(values)

    def file(self, key: str) -> Path:
        """The path of a file, which stands relative to this one."""
        return self._file(key, self.text(key))

    def files(self, key: str) -> list[Path]:
        """The paths of some files."""
        return [self._file(key, name) for name in self.texts(key)]

    def _file(self, key: str, name: str) -> Path:
        path = self.path.parent / name
        if not path.exists():
            raise self.file_not_found(key, path)
        return path

    def file_not_found(self, key: str, path: Path) -> InputError:
        """An error about a key that names a file which is not there, to be raised."""
        return self.error(
            key, "the file is not found", str(path), "a path relative to the folder of this file"
        )

    def lists(self, key: str, default: list[list[str]] | None = None) -> list[list[str]]:
        """A list of lists of strings."""
        values = self._typed(key, list, "a list of lists of strings", default)
        for value in values:
            if not isinstance(value, list) or not all(isinstance(part, str) for part in value):
                raise self.error(key, "is no list of strings", value, 'as in [["a", "b"]]')
        return list(values)

    def numbers(self, key: str) -> np.ndarray:
        """A list of numbers without dimension."""
        values = self._typed(key, list, "a list of numbers", None)
        for value in values:
            if isinstance(value, bool) or not isinstance(value, (int, float)):
                raise self.error(key, "is not a number", value, "a list of numbers")
            if not np.isfinite(value):
                raise self.error(key, "is not finite", value, "a list of numbers")
        return np.array(values, float)

    def ask(self, key: str) -> None:
        """Count a key as read: another reader of the same table takes it."""
        self._asked.add(key)

    def integer(self, key: str, default: int | None = None) -> int:
        """A whole number."""
        return int(self._typed(key, int, "a whole number", default))

    def number(self, key: str, default: float | None = None) -> float:
        """A number without dimension."""
        value = float(self._typed(key, (int, float), "a number", default))
        if not np.isfinite(value):
            raise self.error(key, "is not finite", value, "a number")
        return value

    def flag(self, key: str, default: bool | None = None) -> bool:
        """True or false."""
        return bool(self._typed(key, bool, "true or false", default))

    def quantity(self, key: str, unit: str, default: str | None = None, *, user: str = "") -> float:
        """A number with its unit, converted to ``unit``; messages name ``user``, if given."""
        like = _like(user or unit)
        return self._quantity(key, self._typed(key, str, like, default), unit, user)

    def quantities(self, key: str, unit: str, default: list[str] | None = None) -> np.ndarray:
        """A list of numbers with units, converted to ``unit``."""
        values = self._typed(key, list, f"a list of {_like(unit)}", default)
        return np.array([self._quantity(key, v, unit) for v in values], float)

    def matrix(self, key: str) -> np.ndarray:
        """A list of equally long lists of numbers without dimension."""
        value = self._typed(key, list, "a list of lists of numbers", None)
        try:
            matrix = np.array(value, float)
        except (TypeError, ValueError):
            matrix = np.zeros(0)
        if matrix.ndim != 2 or not np.isfinite(matrix).all():
            raise self.error(key, "is not a matrix", value, "a list of lists of numbers")
        return matrix

    def epoch(self, key: str) -> Time:
        """A date and time in UTC, written ISO (``"2031-05-01T00:00:00"``)."""
        value = self._typed(key, (str, date), "a date and time in UTC", None)
        if isinstance(value, datetime) and value.tzinfo:
            value = value.astimezone(UTC).replace(tzinfo=None)
        try:
            return Time(str(value), scale="utc")
        except ValueError as error:
            raise self.error(
                key, "is not a date", str(value), "UTC as in 2031-05-01T00:00:00"
            ) from error

    def section(self, key: str, default: dict[str, Any] | None = None) -> Section:
        """A table inside this one."""
        value = self._typed(key, dict, "a table", default)
        return Section(self.path, self._lines, self._full(key), value)

    def sections(self, key: str) -> list[Section]:
        """An array of tables; empty if there is none."""
        values = self._typed(key, list, "an array of tables", [])
        for value in values:
            if not isinstance(value, dict):
                raise self.error(key, "is not a table", value, f"[[{key}]] tables")
        return [
            Section(self.path, self._lines, f"{self._full(key)}[{i}]", value)
            for i, value in enumerate(values, start=1)
        ]

    def named_sections(self) -> list[tuple[str, Section]]:
        """All tables inside this one with their names."""
        return [(key, self.section(key)) for key in self._data]

    def finish(self) -> Self:
        """Complain about keys that nobody asked for."""
        for key in self._data:
            if key not in self._asked:
                raise self._unknown(key, self._asked | self._known)
        return self

    def require_keys(self, known: Iterable[str]) -> None:
        """Complain about keys that are not among the known ones, before they are missed."""
        names = set(known)
        for key in self._data:
            if key not in names:
                raise self._unknown(key, names)

    def _unknown(self, key: str, known: Iterable[str]) -> UnknownNameError:
        return UnknownNameError(
            "key",
            key,
            known,
            source=self.path,
            line=self.line(key),
            field=self.name or None,
        )

    # ------------------------------------------------------------------ errors

    def line(self, key: str) -> int | None:
        """Line of the file, from 1, where a key stands, or else the table that lacks it."""
        name = self._full(key)
        while name and name not in self._lines:
            name = re.sub(r"(^|\.)[^.]*?$|\[\d+\]$", "", name)
        return self._lines.get(name)

    def error(self, key: str, problem: str, found: object, expected: str) -> InputError:
        """An error about a key of this table, to be raised."""
        return InputError(
            problem,
            source=self.path,
            line=self.line(key),
            field=self._full(key),
            found=found,
            expected=expected,
        )

    def located(self, error: InputError, key: str | None = None) -> InputError:
        """The same complaint, with this file, line and key if it names no file of its own.

        Parameters
        ----------
        error : InputError
        key : str, optional
            Where the fault stands; the error's own field if left out.
        """
        if error.source is not None:
            return error
        where = key or (error.field or "").split(".")[-1]
        return InputError(
            error.problem,
            source=self.path,
            line=self.line(where) if where else None,
            field=self._full(key) if key else error.field or self.name,
            found=error.found,
            expected=error.expected,
        )

    def require_known(self, key: str, known: Iterable[str]) -> None:
        """Complain about a key that is not the name of a known parameter."""
        names = list(known)
        if key not in names:
            raise UnknownNameError(
                "parameter", key, names, source=self.path, line=self.line(key), field=self.name
            )

    # ----------------------------------------------------------------- details

    def _full(self, key: str) -> str:
        return f"{self.name}.{key}".lstrip(".")

    def _typed(self, key: str, kind: Any, expected: str, default: Any) -> Any:
        """Value of a key, which must be of a kind; without a default it must be there."""
        self._asked.add(key)
        value = self._data.get(key, default)
        if value is None:
            there = ", ".join(self._data) or "none"
            meant = self._meant(key)
            raise self.error(key, "a key is missing", f"the keys {there}", expected + meant)
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            found = "a table" if isinstance(value, dict) else value
            raise self.error(key, "has the wrong form", found, expected)
        return value

    def _meant(self, key: str) -> str:
        """A question after a key that nobody asked for and that is like a missing one."""
        others = [other for other in self._data if other not in self._asked]
        near = difflib.get_close_matches(key, others, n=1, cutoff=NEAR)
        if not near:
            return ""
        return f" (is {near[0]!r} in line {self.line(near[0])} meant?)"

    def _quantity(self, key: str, value: Any, unit: str, user: str = "") -> float:
        like = _like(user or unit)
        if not isinstance(value, str):
            raise self.error(key, "has the wrong form", value, like)
        try:
            return parse_quantity(value, unit, user)
        except ValueError as error:
            raise self.error(key, f"is {error}", value, like) from error


def _like(unit: str) -> str:
    if not unit:
        return "a number as a string"
    return f'a number with its unit, such as "1 {usual_unit(unit)}"'
