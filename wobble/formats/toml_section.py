"""Checked reading of TOML: every key known, every value with its unit.

In: a TOML file. Out: a `Section`, from which a reader takes quantities, names, numbers
and further sections, and which complains about what was not asked for.

A value with a dimension is a string with its unit, as astropy reads it (``"10 deg"``,
``"0.05 mm/s"``, ``"-7608 mas/yr"``); a bare number there is an error, since a unit guessed
is a mistake waiting. Every complaint names file, line, key, what was found, what was
expected.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any, Self

import numpy as np
from astropy import units
from astropy.time import Time

from wobble.errors import InputError, UnknownNameError

__all__ = ["Section", "parse_quantity", "read_toml"]

_MISSING = object()


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
        raise InputError(f"cannot be read ({error.strerror})", source=path) from error
    except UnicodeDecodeError as error:
        raise InputError(
            "is not text", source=path, found="bytes that are not UTF-8", expected="a TOML file"
        ) from error
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        where = re.search(r"line (\d+)", str(error))
        raise InputError(
            f"is not valid TOML: {error}",
            source=path,
            line=int(where.group(1)) if where else None,
        ) from error
    if not data:
        raise InputError("is empty", source=path, expected="a TOML file with keys")
    return Section(path, text, "", data)


def parse_quantity(text: str, unit: str) -> float:
    """A number with its unit as a float in ``unit``.

    Raises
    ------
    ValueError
        If it is no quantity (the message says why), or its dimension is another one.
    """
    match = re.fullmatch(r"\s*([-+]?[\d.]+(?:[eE][-+]?\d+)?)\s*(.*?)\s*", text)
    if match is None:
        raise ValueError("no number with a unit")
    try:
        given = units.Unit(match.group(2), parse_strict="raise")
        value = float(match.group(1))
    except (ValueError, TypeError) as error:
        raise ValueError(f"no unit that is known ({str(error).splitlines()[0]})") from error
    if not np.isfinite(value):
        raise ValueError("not a finite number")
    wanted = units.Unit(unit)
    if not given.is_equivalent(wanted):
        raise ValueError(f"a {given.physical_type}, not a {wanted.physical_type}")
    return float((value * given).to_value(wanted))


class Section:
    """A table of a TOML file, read key by key.

    Parameters
    ----------
    path : Path
        The file.
    text : str
        Its whole text, to find lines in.
    name : str
        Dotted name of the table; empty for the whole file.
    data : dict
        Its content.
    """

    def __init__(self, path: Path, text: str, name: str, data: dict[str, Any]) -> None:
        self.path = path
        self.name = name
        self._text = text
        self._data = data
        self._asked: set[str] = set()

    # ------------------------------------------------------------------ access

    def __contains__(self, key: str) -> bool:
        return key in self._data

    def keys(self) -> list[str]:
        """Keys that stand in the table."""
        return list(self._data)

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

    def integer(self, key: str, default: int | None = None) -> int:
        """A whole number."""
        return int(self._typed(key, int, "a whole number", default))

    def number(self, key: str, default: float | None = None) -> float:
        """A number without dimension."""
        return float(self._typed(key, (int, float), "a number", default))

    def flag(self, key: str, default: bool | None = None) -> bool:
        """True or false."""
        return bool(self._typed(key, bool, "true or false", default))

    def quantity(self, key: str, unit: str, default: str | None = None) -> float:
        """A number with its unit, converted to ``unit``."""
        return self._quantity(key, self._typed(key, str, _like(unit), default), unit)

    def quantities(self, key: str, unit: str, default: list[str] | None = None) -> np.ndarray:
        """A list of numbers with units, converted to ``unit``."""
        values = self._typed(key, list, f"a list of {_like(unit)}", default)
        return np.array([self._quantity(key, v, unit) for v in values], float)

    def epoch(self, key: str) -> Time:
        """A date and time in UTC, written ISO (``"2031-05-01T00:00:00"``)."""
        value = self._take(key, _MISSING)
        text = value.isoformat() if hasattr(value, "isoformat") else value
        try:
            return Time(text, scale="utc")
        except (ValueError, TypeError) as error:
            raise self.error(
                key, "is not a date", value, "UTC as in 2031-05-01T00:00:00"
            ) from error

    def section(self, key: str, default: dict[str, Any] | None = None) -> Section:
        """A table inside this one."""
        value = self._typed(key, dict, "a table", default)
        return Section(self.path, self._text, f"{self.name}.{key}".lstrip("."), value)

    def sections(self, key: str) -> list[Section]:
        """An array of tables; empty if there is none."""
        values = self._typed(key, list, "an array of tables", [])
        for value in values:
            if not isinstance(value, dict):
                raise self.error(key, "is not a table", value, f"[[{key}]] tables")
        name = f"{self.name}.{key}".lstrip(".")
        return [Section(self.path, self._text, f"{name}[{i + 1}]", v) for i, v in enumerate(values)]

    def named_sections(self) -> list[tuple[str, Section]]:
        """All tables inside this one with their names."""
        return [(key, self.section(key)) for key in self._data]

    def finish(self) -> Self:
        """Complain about keys that nobody asked for."""
        for key in self._data:
            if key not in self._asked:
                raise UnknownNameError(
                    "key", key, self._asked, source=self.path, line=self.line(key), field=self.name
                )
        return self

    # ------------------------------------------------------------------ errors

    def line(self, key: str) -> int | None:
        """Line of the file, from 1, where a key of this table most likely stands."""
        lines = self._text.splitlines()
        first = 0
        parts = re.match(r"(.*?)(?:\[(\d+)\])?$", self.name)
        if parts and parts.group(1):
            header = re.compile(r"^\s*\[+\s*" + re.escape(parts.group(1)) + r"\s*\]+")
            starts = [i for i, line in enumerate(lines) if header.match(line)]
            which = int(parts.group(2) or 1) - 1
            first = starts[which] if which < len(starts) else 0
        pattern = re.compile(r"^\s*(?:\[+[\w.\"-]*)?\"?" + re.escape(key) + r"\"?\s*(?:=|\])")
        for number in range(first, len(lines)):
            if pattern.match(lines[number]):
                return number + 1
        return first + 1 if first else None

    def error(self, key: str, problem: str, found: object, expected: str) -> InputError:
        """An error about a key of this table, to be raised."""
        return InputError(
            problem,
            source=self.path,
            line=self.line(key),
            field=f"{self.name}.{key}".lstrip("."),
            found=found,
            expected=expected,
        )

    # ----------------------------------------------------------------- details

    def _take(self, key: str, default: Any) -> Any:
        self._asked.add(key)
        value = self._data.get(key, default)
        if value is _MISSING or value is None:
            raise InputError(
                "a key is missing",
                source=self.path,
                line=self.line(key),
                field=f"{self.name}.{key}".lstrip("."),
                found=f"the keys {', '.join(self._data) or 'none'}",
            )
        return value

    def _typed(self, key: str, kind: Any, expected: str, default: Any) -> Any:
        value = self._take(key, _MISSING if default is None else default)
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            raise self.error(key, "has the wrong form", value, expected)
        return value

    def _quantity(self, key: str, value: Any, unit: str) -> float:
        try:
            return parse_quantity(value, unit)
        except (ValueError, TypeError) as error:
            raise self.error(key, f"is {error}", value, _like(unit)) from error


def _like(unit: str) -> str:
    return f'a number with its unit, such as "1 {unit}"' if unit else "a number as a string"
