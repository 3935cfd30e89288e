"""Which measurement each sample of a solution was.

In: the samples of a `Solution`, the table of measurements. Out: rows of the table. A fit
takes the measurements pass by pass; residuals and what belongs to the measurements (weather,
elevation, count time) come together again by this order.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wobble.errors import InputError
from wobble.estimation.samples import Samples
from wobble.measurements.tracking import Tracking

__all__ = ["accepted_rows", "sample_order"]


def sample_order(samples: Samples, tracking: Tracking) -> NDArray[np.intp]:
    """Rows of a table of measurements in the order of the samples of its fit.

    Raises
    ------
    InputError
        If the samples are not those of the table.
    """
    order = np.concatenate([rows for _, rows in tracking.passes()])
    same = len(order) == len(samples) and all(
        np.array_equal(ours, theirs)
        for ours, theirs in (
            (samples.pass_name, tracking.pass_id[order]),
            (samples.kind, tracking.kind[order]),
            (samples.epoch, tracking.epoch[order].isot),
        )
    )
    if not same:
        raise InputError(
            "the solution was not made from these measurements",
            field="tracking",
            found=f"{len(tracking)} measurements",
            expected=f"the {len(samples)} samples of the solution, pass by pass",
        )
    return order


def accepted_rows(samples: Samples, tracking: Tracking) -> NDArray[np.bool_]:
    """Which rows of a table of measurements its fit accepted, shape (n,).

    Raises
    ------
    InputError
        If the samples are not those of the table.
    """
    accepted = np.empty(len(tracking), bool)
    accepted[sample_order(samples, tracking)] = samples.accepted
    return accepted
