"""Signatures as a figure: what one unit of each parameter does over a pass or a season.

In: signatures of the full model and, beside them, those of the first-order formulas. Out:
two matplotlib axes, range above and range rate below.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from wobble.campaign.sensitivity import Signatures
from wobble.errors import InputError
from wobble.report.style import (
    LINES,
    PALETTE,
    axes_column,
    date_axis,
    days,
    fitting_unit,
    legend_above,
    styled,
)

__all__ = ["MOST", "signature_figure"]

MOST = len(PALETTE)
"""So many parameters a reader can tell apart."""


@styled
def signature_figure(
    full: Signatures, formulas: Signatures | None = None, axes: Sequence[Axes] | None = None
) -> list[Axes]:
    """Range and range rate per unit of each parameter against the date.

    Parameters
    ----------
    full : Signatures
        Drawn as lines; at most six parameters.
    formulas : Signatures, optional
        Of the same parameters at the same epochs, drawn as points on some of the epochs.
    axes : sequence of two Axes, optional
        For range and range rate.

    Raises
    ------
    InputError
        If there are more parameters than a reader can tell apart.
    """
    if not 0 < len(full.names) <= MOST:
        raise InputError(
            "too many or too few signatures for one figure",
            found=len(full.names),
            expected=f"1 to {MOST} parameters",
        )
    chosen = list(axes) if axes is not None else axes_column(2, [2.4, 2.4])
    time = days(full.epoch)
    some = slice(None, None, max(1, len(time) // 40))
    kinds = (("range", "range"), ("range_rate", "range rate"))
    for panel, (kind, title) in zip(chosen, kinds, strict=True):
        values = getattr(full, kind)
        unit, scale = fitting_unit(kind, float(np.abs(values).max()))
        for k, (name, per) in enumerate(zip(full.names, full.units, strict=True)):
            label = f"1 {per} of {name}" if per else f"1 of {name}"
            panel.plot(time, values[:, k] / scale, color=PALETTE[k], ls=LINES[k], label=label)
            if formulas is not None:
                points = getattr(formulas, kind)[some, k] / scale
                panel.plot(time[some], points, ".", color=PALETTE[k])
        panel.set_ylabel(f"{title} ({unit})")
    legend_above(chosen[0])
    date_axis(chosen[-1])
    return chosen
