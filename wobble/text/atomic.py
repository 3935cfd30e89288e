"""Files that are written whole or not at all.

In: a path and the text of the whole file. Out: the file, or an `InputError` and
whatever stood there before.

The text goes to a temporary file in the same folder, which then takes the name of the
file wanted in one step of the file system, so that no reader ever sees half of it.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

from wobble.errors import InputError

__all__ = ["write_atomically"]


def write_atomically(path: str | os.PathLike[str], text: str) -> None:
    """Write a text file in UTF-8, completely or not at all.

    Parameters
    ----------
    path : path-like
        The file; an older one of that name is replaced. Its folder must exist.
    text : str
        The whole content.

    Raises
    ------
    InputError
        If the folder does not exist or the file cannot be written.
    """
    target = Path(path)
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
    except OSError as error:
        raise _cannot_write(target, error) from error
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        # mkstemp makes private files; a result is as readable as any other new file.
        os.chmod(name, 0o666 & ~_umask())
        os.replace(name, target)
    except OSError as error:
        raise _cannot_write(target, error) from error
    finally:
        with contextlib.suppress(FileNotFoundError):
            os.unlink(name)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _cannot_write(target: Path, error: OSError) -> InputError:
    return InputError(
        "the file cannot be written",
        source=target,
        found=error.strerror,
        expected="a folder that exists and may be written to",
    )
