"""Lines of a text file, and the numbers in them, with an error that says where.

In: a path, plain or gzip-compressed. Out: `Line` objects one after the other, each with
its file and number, so that whatever is wrong in it can say so. One pass, bounded memory.

Everything that a file can do wrong before its content counts (missing, a folder,
compressed and broken, binary, in no Unicode encoding, one endless line) ends here in
an `InputError`.
"""

from __future__ import annotations

import contextlib
import gzip
import math
import os
import re
import zlib
from collections.abc import Callable, Iterator
from typing import BinaryIO, NamedTuple, cast

from wobble.errors import InputError
from wobble.measurements.tracking import RowError

__all__ = ["Line", "read_bytes", "read_lines", "rows_at"]

LONGEST_LINE = 65_536
GZIP_MAGIC = b"\x1f\x8b"
# float() and int() would also take "nan", "1_000" and digits of other scripts.
NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eEdD][+-]?[0-9]{1,4})?")
INTEGER = re.compile(r"[+-]?[0-9]{1,18}")


class Line(NamedTuple):
    """One line of a file.

    Parameters
    ----------
    source : str
        The file.
    number : int
        Line number, counted from 1; 0 if there is none.
    text : str
        The line without its end.
    ended : bool
        False if the file stops within the line, before a line end.
    """

    source: str
    number: int
    text: str
    ended: bool = True

    def error(
        self, problem: str, field: str | None = None, found: object = None, expected: object = None
    ) -> InputError:
        """The error to raise for something that is wrong in this line."""
        return InputError(
            problem,
            source=self.source,
            line=self.number or None,
            field=field,
            found=found,
            expected=expected,
        )

    def real(self, token: str, field: str) -> float:
        """A finite number, or an `InputError`; Fortran's exponent letter D is understood."""
        if NUMBER.fullmatch(token):
            value = float(token.replace("D", "e").replace("d", "e"))
            if math.isfinite(value):
                return value
        raise self.error("not a finite number", field, found=token)

    def integer(self, token: str, field: str) -> int:
        """A whole number, or an `InputError`."""
        if INTEGER.fullmatch(token):
            return int(token)
        raise self.error("not a whole number", field, found=token)


@contextlib.contextmanager
def rows_at(line: Callable[[int], Line]) -> Iterator[None]:
    """Let errors about a row of a table of measurements name the line that the row is from."""
    try:
        yield
    except RowError as error:
        raise line(error.row).error(
            error.problem, error.field, error.found, error.expected
        ) from error


def why_unreadable(error: Exception) -> str:
    """Why a file cannot be read, in words for its user."""
    if isinstance(error, FileNotFoundError):
        return "the file is not found"
    if isinstance(error, IsADirectoryError):
        return "is a folder, not a file"
    return f"cannot be read ({getattr(error, 'strerror', None) or error})"


@contextlib.contextmanager
def read_bytes(path: str | os.PathLike[str]) -> Iterator[BinaryIO]:
    """Open a file, plain or gzip-compressed, for reading the bytes of its content.

    Raises
    ------
    InputError
        On entering or while reading, if the file is missing, empty, or broken.
    """
    source = os.fspath(path)
    try:
        with open(source, "rb") as stored:
            start = stored.read(2)
            stored.seek(0)
            if not start:
                raise InputError("the file is empty", source=source)
            yield cast(BinaryIO, gzip.GzipFile(fileobj=stored)) if start == GZIP_MAGIC else stored
    except (OSError, EOFError, ValueError, zlib.error) as error:
        raise InputError(why_unreadable(error), source=source) from error


def read_lines(path: str | os.PathLike[str]) -> Iterator[Line]:
    """Go through the lines of a text file, plain or gzip-compressed.

    Raises
    ------
    InputError
        If the file is missing, empty, binary, broken, or has a line of more than 65,536
        characters.
    """
    source = os.fspath(path)
    number = 0
    with read_bytes(source) as file:
        while raw := file.readline(LONGEST_LINE + 1):
            number += 1
            if len(raw) > LONGEST_LINE:
                raise InputError("the line is endless", source=source, line=number)
            if b"\0" in raw:
                raise InputError(
                    "is not a text file: it has a zero byte", source=source, line=number
                )
            try:
                # A byte-order mark may stand at the start of the file, and nowhere else.
                text = raw.decode("utf-8-sig" if number == 1 else "utf-8")
            except UnicodeDecodeError as error:
                raise InputError(
                    f"is not a text file: byte {error.start + 1} is not UTF-8",
                    source=source,
                    line=number,
                ) from error
            yield Line(source, number, text.rstrip("\r\n"), raw.endswith(b"\n"))
    if number == 0:
        raise InputError("the file is empty", source=source)
