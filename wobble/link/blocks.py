"""Long computations in blocks, and the blocks on all processors.

In: a function of a block of the measurements, and how many there are. Out: its results in
order. What the function keeps in memory while it works never exceeds `BLOCK` measurements
for each processor; records of arrays (events, paths, delays) are cut and put together field
by field.
"""

from __future__ import annotations

import itertools
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, is_dataclass, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

__all__ = ["BLOCK", "Rows", "in_blocks", "joined", "rows"]

T = TypeVar("T")
Rows = slice | NDArray[np.intp]
"""Which rows of a table: a block of them, or any by number."""

BLOCK = 5_000
"""Measurements in a block: their intermediate arrays (some 2 kB each) fit a processor's cache."""


def in_blocks(function: Callable[[slice], T], n: int) -> list[T]:
    """Results of a function for each block of n measurements, in order."""
    edges = np.linspace(0, n, max(1, -(-n // BLOCK)) + 1).astype(int).tolist()
    blocks = [slice(*ends) for ends in itertools.pairwise(edges)]
    if len(blocks) == 1:
        return [function(blocks[0])]
    # numpy lets other threads run while it works on arrays.
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return list(pool.map(function, blocks))


def rows(record: T, index: Rows) -> T:
    """Some rows of a record of arrays."""
    taken: T = _each(lambda arrays: arrays[0].T[..., index].T, [record])
    return taken


def joined(records: Sequence[T]) -> T:
    """One record of arrays made of several of the same kind."""
    whole: T = records[0] if len(records) == 1 else _each(np.concatenate, records)
    return whole


def _each(change: Callable[[list[Any]], Any], records: Sequence[Any]) -> Any:
    first = records[0]
    if isinstance(first, np.ndarray):
        return change(list(records))
    if isinstance(first, tuple):
        return tuple(_each(change, part) for part in zip(*records, strict=True))
    if is_dataclass(first):
        changed = {
            f.name: _each(change, [getattr(r, f.name) for r in records]) for f in fields(first)
        }
        return replace(first, **changed)  # type: ignore[type-var]  # an instance, not a class
    return first
