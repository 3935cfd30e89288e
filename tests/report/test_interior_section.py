"""The section on the inside of the planet, with what its numbers lean on."""

import numpy as np
import pytest

from wobble.constants import DAY, JULIAN_YEAR, MAS
from wobble.estimation.core_estimate import CoreEstimate
from wobble.files.body_file import read_nutation_setup
from wobble.files.interior_file import read_interior
from wobble.report.interior_section import Inside, interior_section

# Konopliv et al. 2016, Icarus 274, 253; Le Maistre et al. 2023, Nature 619, 733 (from memory).
PUBLISHED = {
    "pole.precession_rate": (-7608.3 * MAS / JULIAN_YEAR, 2.1 * MAS / JULIAN_YEAR),
    "core.factor": (0.061, 0.006),
    "core.period": (-242.3 * DAY, 2.7 * DAY),
}


@pytest.fixture(scope="module")
def inferred():
    assumed = read_interior("mars")
    estimate = CoreEstimate.from_values(PUBLISHED, "published")
    budget = read_nutation_setup(assumed.nutation).compute().budget()
    rng = np.random.default_rng(2)
    moment = estimate.polar_moment(budget, assumed.figure)
    return moment, estimate.interior(budget, assumed.figure, assumed.mantle, rng, samples=200)


def test_the_published_moment_is_told(inferred):
    section = interior_section(Inside(inferred[0], True, inferred[1]))
    # C/MR^2 = 0.36367 +- 0.00010 (Baland et al. 2020, Celest. Mech. Dyn. Astron. 132, 47).
    assert "0.36370 ± 0.00010" in section.text[0]
    assert not any("Limited a priori" in point for point in section.points)


def test_what_the_inference_leans_on_is_named(inferred):
    section = interior_section(Inside(inferred[0], True, inferred[1], leaning=("core.period",)))
    assert section.points[0] == "Limited a priori, and what follows with it: core.period."
