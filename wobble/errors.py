"""Errors that a person can act on: where, what was found, what was expected.

Every exception of the package derives from `WobbleError`. `InputError` is the
user's to mend (exit status 2 on the command line, no traceback); the others are
failures of the computation.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "ConvergenceError",
    "EpochRangeError",
    "InputError",
    "UnknownNameError",
    "WobbleError",
]


class WobbleError(Exception):
    """Base of all exceptions that the package raises on purpose."""


class InputError(WobbleError):
    """Something that the user gave cannot be used.

    Parameters
    ----------
    problem : str
        What is wrong, in words.
    source : str, optional
        File (or other origin) of the offending input.
    line : int, optional
        Line in that file, counted from 1.
    field : str, optional
        Key, column or parameter concerned.
    found, expected : object, optional
        What stood there and what was expected instead.
    """

    def __init__(
        self,
        problem: str,
        *,
        source: object = None,
        line: int | None = None,
        field: str | None = None,
        found: object = None,
        expected: object = None,
    ) -> None:
        self.problem = problem
        self.source = None if source is None else str(source)
        self.line = line
        self.field = field
        # A number of numpy's would name its type in the message.
        self.found = found.item() if isinstance(found, np.generic) else found
        self.expected = expected
        super().__init__(str(self))

    def of(self, source: object) -> InputError:
        """The same fault, of a file that it does not name yet."""
        return InputError(
            self.problem,
            source=source if self.source is None else self.source,
            line=self.line,
            field=self.field,
            found=self.found,
            expected=self.expected,
        )

    def __str__(self) -> str:
        where = []
        if self.source is not None:
            where.append(self.source if self.line is None else f"{self.source}, line {self.line}")
        elif self.line is not None:
            where.append(f"line {self.line}")
        if self.field is not None:
            where.append(self.field)
        text = ": ".join([*where, self.problem])
        if self.found is not None:
            text += f"; found {self.found!r}"
        if self.expected is not None:
            text += f"; expected {self.expected}"
        return text


class UnknownNameError(InputError):
    """A name that is not among the known ones; the nearest known name is offered.

    Parameters
    ----------
    kind : str
        What the name should be, for example ``"station"``.
    name : str
        The unknown name.
    known : iterable of str
        The names that would have been understood.
    source, line, field : optional
        As for `InputError`.
    """

    def __init__(
        self,
        kind: str,
        name: str,
        known: Iterable[str],
        *,
        source: object = None,
        line: int | None = None,
        field: str | None = None,
    ) -> None:
        self.name = name
        self.known = sorted(known)
        near = difflib.get_close_matches(name, self.known, n=1)
        expected = f"one of {', '.join(self.known)}" if self.known else "none is defined"
        if near:
            expected = f"perhaps {near[0]!r} ({expected})"
        super().__init__(
            f"unknown {kind}",
            source=source,
            line=line,
            field=field,
            found=name,
            expected=expected,
        )


class EpochRangeError(InputError):
    """Epochs outside the span of a table or an ephemeris.

    Attributes
    ----------
    outside : ndarray of bool, shape (n,)
        Which of the epochs asked for lie outside.
    """

    def __init__(
        self,
        problem: str,
        outside: NDArray[np.bool_],
        *,
        source: object = None,
        field: str | None = None,
        found: object = None,
        expected: object = None,
    ) -> None:
        self.outside = np.atleast_1d(outside)
        super().__init__(
            f"{problem} ({int(self.outside.sum())} of {self.outside.size} epochs)",
            source=source,
            field=field,
            found=found,
            expected=expected,
        )


class ConvergenceError(WobbleError):
    """An iteration did not reach its stated tolerance."""
