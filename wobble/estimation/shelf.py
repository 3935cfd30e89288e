"""Arrays that wait on disk until they are needed again.

In: arrays, put down one after the other. Out: the same arrays, by the number of their place.

A campaign of years has more rows than memory should hold, and a fit goes through them a
dozen times, pass by pass. They lie in a temporary file that has no name and is gone when
the shelf is; what is read often stays in the operating system's cache as long as there is
room for it.
"""

from __future__ import annotations

import tempfile
import weakref
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["Shelf"]


class Shelf:
    """A growing row of arrays on disk."""

    def __init__(self) -> None:
        self._file = tempfile.TemporaryFile()  # noqa: SIM115
        # By `close`, or with the last reference to the shelf.
        self._closing = weakref.finalize(self, self._file.close)
        self._places: list[tuple[int, np.dtype[Any], tuple[int, ...]]] = []
        self._end = 0

    def put(self, array: NDArray[Any]) -> int:
        """Put an array down; its place is the number that `get` takes."""
        content = np.ascontiguousarray(array)
        self._file.seek(self._end)
        self._file.write(content.data)
        self._places.append((self._end, content.dtype, content.shape))
        self._end += content.nbytes
        return len(self._places) - 1

    def get(self, place: int) -> NDArray[Any]:
        """The array of a place; it cannot be written to."""
        start, dtype, shape = self._places[place]
        self._file.seek(start)
        count = int(np.prod(shape)) * dtype.itemsize
        return np.frombuffer(self._file.read(count), dtype).reshape(shape)

    def close(self) -> None:
        """Give the disk space back."""
        self._closing()
