"""The contributions by the names that a scenario gives them.

In: nothing. Out: `CONTRIBUTIONS`, from name to class. A new contribution is a new class and
one line here; its dataclass fields, each with a unit in its metadata, are what a scenario
may set.
"""

from __future__ import annotations

from wobble.noise.contributions.base import Contribution
from wobble.noise.contributions.clocks import FrequencyStandard, LanderOscillator, Transponder
from wobble.noise.contributions.general import (
    AllanDeviations,
    PowerLawSpectrum,
    StructureFunction,
    TabulatedSpectrum,
)
from wobble.noise.contributions.ionosphere import Ionosphere
from wobble.noise.contributions.mechanics import AntennaMechanics, LanderPhaseCentre
from wobble.noise.contributions.ranging import RangeCalibration, RangeThermal
from wobble.noise.contributions.solar_plasma import SolarPlasma
from wobble.noise.contributions.thermal import (
    LinkThermalPhase,
    ThermalPhase,
    TransponderThermal,
)
from wobble.noise.contributions.troposphere import DryTroposphere, WetTroposphere
from wobble.noise.contributions.white import NumericalNoise, WhiteRange, WhiteRangeRate

__all__ = ["CONTRIBUTIONS"]

CONTRIBUTIONS: dict[str, type[Contribution]] = {
    kind.name: kind
    for kind in (
        ThermalPhase,
        LinkThermalPhase,
        TransponderThermal,
        FrequencyStandard,
        LanderOscillator,
        Transponder,
        SolarPlasma,
        WetTroposphere,
        DryTroposphere,
        Ionosphere,
        AntennaMechanics,
        LanderPhaseCentre,
        RangeThermal,
        RangeCalibration,
        NumericalNoise,
        WhiteRange,
        WhiteRangeRate,
        PowerLawSpectrum,
        TabulatedSpectrum,
        AllanDeviations,
        StructureFunction,
    )
}
"""Every contribution by its name in a scenario."""
