"""Solid tide of the body on which the lander stands.

In: the lander's body-fixed place and the body-fixed positions of what raises the tide.
Out: the displacement, m, shape (n, 3).

Degree 2 with real Love numbers h2 and l2 (for example IERS Conventions 2010, eq. 7.5). On
the Moon the Earth's tide moves the surface by 0.1 m up and down over a month about a constant
of up to 0.6 m (h2 = 0.048), its degree 3 by some 0.5 % of that, left out; the Sun's by 3 mm. On
Mars the Sun's tide is some 10 mm.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["solid_body_tide"]

Array = NDArray[np.float64]


def solid_body_tide(
    position: Array, raiser: Array, mass_ratio: float, radius: float, h2: float, l2: float
) -> Array:
    """Displacement by one tide-raising body, m, shape (n, 3).

    Parameters
    ----------
    position : ndarray, shape (3,) or (n, 3)
        Body-fixed place, m.
    raiser : ndarray, shape (n, 3)
        Body-fixed position of the tide-raising body, m.
    mass_ratio : float
        Its mass over that of the body.
    radius : float
        Mean radius of the body, m.
    h2, l2 : float
        Love and Shida numbers of degree 2.
    """
    distance = np.linalg.norm(raiser, axis=-1, keepdims=True)
    toward = raiser / distance
    up = position / np.linalg.norm(position, axis=-1, keepdims=True)
    cosine = np.sum(toward * up, axis=-1, keepdims=True)
    radial = h2 * (1.5 * cosine**2 - 0.5) * up
    across = 3.0 * l2 * cosine * (toward - cosine * up)
    return np.asarray(mass_ratio * radius**4 / distance**3 * (radial + across))
