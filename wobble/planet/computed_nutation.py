"""A planet's nutation as it is asked for, and as it is computed.

In: a `NutationSetup`: the planet with its mean orientation, its satellites, an ephemeris, a span.
Out: a `ComputedNutation`: the integrated axis, its series, the budget of the precession, and
the terms that a rotation model takes from them.
"""

from __future__ import annotations

from dataclasses import dataclass

from wobble.ephemeris import Ephemeris, open_ephemeris
from wobble.planet.axis_term import CoreResonance, IntegratedAxis
from wobble.planet.nutation import PrecessionBudget, precession_budget, rigid_rotation
from wobble.planet.nutation_series import NutationSeries
from wobble.planet.rigid_axis import RigidPlanet, SpinAxis
from wobble.planet.satellite_nutation import Satellite, satellite_nutation

__all__ = ["ComputedNutation", "NutationSetup"]


@dataclass(frozen=True)
class NutationSetup:
    """What the nutation of a planet is computed from.

    Parameters
    ----------
    planet : RigidPlanet
        Flattening and mean orientation.
    satellites : tuple of Satellite
        Their terms are added as given.
    ephemeris : str
        Name or path, as `open_ephemeris` takes it.
    start, stop : float
        Span, seconds since J2000.0 TDB.
    harmonics : int
        Highest multiple of the mean anomaly in the series.
    """

    planet: RigidPlanet
    satellites: tuple[Satellite, ...]
    ephemeris: str
    start: float
    stop: float
    harmonics: int = 6

    def compute(self) -> ComputedNutation:
        """Integrate the axis and fit its series.

        Raises
        ------
        InputError
            If the span is too short to tell the terms apart, the ephemeris does not cover it
            or lacks the planet.
        """
        ephemeris = open_ephemeris(self.ephemeris)
        given = satellite_nutation(self.planet, self.satellites) if self.satellites else None
        axis, series = rigid_rotation(
            self.planet,
            ephemeris,
            self.start,
            self.stop,
            harmonics=self.harmonics,
            given_terms=given,
        )
        return ComputedNutation(self, ephemeris, axis, series, given)


@dataclass(frozen=True, eq=False)
class ComputedNutation:
    """Axis and series of a rigid planet.

    Parameters
    ----------
    setup : NutationSetup
        What was asked for.
    ephemeris : Ephemeris
        Along which the torque was integrated.
    axis : SpinAxis
        The integrated axis, satellites included.
    series : NutationSeries
        Its series, satellites included.
    satellites : NutationSeries or None
        Their terms alone.
    """

    setup: NutationSetup
    ephemeris: Ephemeris
    axis: SpinAxis
    series: NutationSeries
    satellites: NutationSeries | None

    def budget(self) -> PrecessionBudget:
        """Which body contributes how much to the precession."""
        return precession_budget(self.axis, self.ephemeris, given_terms=self.satellites)

    @property
    def rigid_term(self) -> IntegratedAxis:
        """The rigid planet's motion as a term of the orientation angles."""
        return IntegratedAxis(self.axis, self.series)

    @property
    def core_term(self) -> CoreResonance:
        """What a liquid core adds to it, as a term of the orientation angles."""
        return CoreResonance(self.series)
