"""A folder of results: written at the end, whole or not at all.

In: tables, texts and figures with their file names. Out: files in a folder.

`ResultFolder` sees to it before the work begins that the folder can be written, keeps what
it is given in memory, and writes when all is done. If the work fails, nothing is left
behind that was not there before.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from types import TracebackType
from typing import Self

from astropy.time import Time

from wobble.campaign.schedule import Passes
from wobble.errors import InputError
from wobble.text.atomic import write_atomically
from wobble.text.ecsv import read_ecsv

__all__ = ["ResultFolder", "read_schedule"]

SCHEDULE_COLUMNS = ("pass", "station", "lander", "antenna", "start", "stop")


class ResultFolder:
    """Files to be written together into a folder. Use as a context manager.

    Parameters
    ----------
    path : Path
        The folder; made if it is not there.

    Raises
    ------
    InputError
        On entering, if the folder cannot be made or written.
    """

    def __init__(self, path: str | os.PathLike[str]) -> None:
        self.path = Path(path)
        self._texts: dict[str, str] = {}
        self._made: list[Path] = []

    def __enter__(self) -> Self:
        missing = [p for p in (self.path, *self.path.parents) if not p.exists()]
        try:
            for folder in reversed(missing):
                folder.mkdir()
                self._made.insert(0, folder)
            with tempfile.TemporaryFile(dir=self.path):
                pass
        except OSError as error:
            self._remove_made()
            raise InputError(
                f"the folder cannot be written ({error.strerror})",
                source=self.path,
                expected="a folder in which files can be made",
            ) from error
        return self

    def add(self, name: str, text: str) -> None:
        """Keep a file's text for the end; ``name`` may lie in a folder inside."""
        self._texts[name] = text

    @property
    def names(self) -> list[str]:
        """Files that were added."""
        return list(self._texts)

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if kind is not None:
            self._remove_made()
            return
        for name, text in self._texts.items():
            target = self.path / name
            try:
                target.parent.mkdir(exist_ok=True)
            except OSError as error:
                raise InputError(
                    f"the folder cannot be made ({error.strerror})", source=target.parent
                ) from error
            write_atomically(target, text)

    def _remove_made(self) -> None:
        for folder in self._made:
            folder.rmdir()
        self._made = []


def read_schedule(path: str | os.PathLike[str]) -> Passes:
    """Read a schedule as `Passes.table` gives it; without transmitters it is two-way.

    Raises
    ------
    InputError
        If the file cannot be read, or lacks a column.
    """
    table = read_ecsv(path, SCHEDULE_COLUMNS)
    try:
        start, stop = (Time(list(table[c]), scale="utc") for c in ("start", "stop"))
    except ValueError as error:
        raise InputError(f"a date cannot be read ({error})", source=path) from error
    if not (stop > start).all():
        bad = int((~(stop > start)).argmax())
        raise InputError(
            "a pass ends before it begins",
            source=path,
            field=str(table["pass"][bad]),
            found=f"{start[bad].isot} to {stop[bad].isot}",
        )
    columns = ("station", "lander", "antenna", "transmitter")
    names = [table[c].astype(str).data for c in columns if c in table.colnames]
    return Passes(table["pass"].astype(str).data, start, stop, *names)
