"""Finished variations of a study: one file each, written at once, whole or not at all.

In: outcomes with their keys. Out: files ``KEY.json`` in a folder, and from them the outcomes.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path

from wobble.campaign.study import Outcome
from wobble.errors import InputError
from wobble.text.atomic import write_atomically

__all__ = ["FolderJournal"]


class FolderJournal:
    """A journal (`wobble.campaign.study.Journal`) in a folder.

    Parameters
    ----------
    folder : Path
        Made if it is not there.

    Raises
    ------
    InputError
        If it cannot be made.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise InputError(
                f"the folder cannot be made ({error.strerror})", source=folder
            ) from error

    def read(self, key: str) -> Outcome | None:
        """What is kept under a key.

        Raises
        ------
        InputError
            If the file is none of a variation.
        """
        path = self._path(key)
        if not path.exists():
            return None
        try:
            content = json.loads(path.read_text(encoding="utf-8"))
            sigma = {n: math.inf if v is None else v for n, v in content["sigma"].items()}
            content["sigma"] = sigma
            del content["variation"]
            return Outcome(**content)
        except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
            raise InputError(
                f"is no finished variation ({error!r})",
                source=path,
                expected="a file that a study wrote; remove it to compute the variation again",
            ) from error

    def write(self, key: str, name: str, outcome: Outcome) -> None:
        """Keep an outcome."""
        sigma = {n: v if math.isfinite(v) else None for n, v in outcome.sigma.items()}
        content = {"variation": name, **asdict(outcome), "sigma": sigma}
        write_atomically(self._path(key), json.dumps(content, indent=1) + "\n")

    def strangers(self, keys: Iterable[str]) -> int:
        """How many variations are kept that belong to none of the keys."""
        known = {self._path(key) for key in keys}
        return sum(path not in known for path in self.folder.glob("*.json"))

    def _path(self, key: str) -> Path:
        return self.folder / f"{key}.json"
