"""From two-way tracking of a lander to the rotation and the interior of its planet.

The trade's sentences:

>>> import wobble
>>> campaign = wobble.read_scenario("campaign.toml")      # doctest: +SKIP
>>> periods = campaign.view_periods()                     # doctest: +SKIP
>>> passes = campaign.schedule(periods)                   # doctest: +SKIP
>>> data = campaign.simulate(passes, seed=7)              # doctest: +SKIP
>>> solution = campaign.fit(data)                         # doctest: +SKIP
>>> solution["pole.precession_rate"].to("mas/yr")         # doctest: +SKIP
>>> wobble.hand_check(campaign, solution=solution)        # doctest: +SKIP
"""

import warnings

from erfa import ErfaWarning

from wobble.campaign.campaign import Campaign
from wobble.check.hand_check import hand_check
from wobble.ephemeris import open_ephemeris
from wobble.errors import InputError, WobbleError
from wobble.estimation.solution import Solution
from wobble.files.body_file import read_body
from wobble.files.data_files import read_tracking
from wobble.link.network import Network
from wobble.measurements.tracking import Tracking
from wobble.scenario.reader import read_scenario
from wobble.scenario.station_sections import read_catalogue
from wobble.version import __version__

__all__ = [
    "Campaign",
    "InputError",
    "Network",
    "Solution",
    "Tracking",
    "WobbleError",
    "__version__",
    "hand_check",
    "open_ephemeris",
    "read_body",
    "read_catalogue",
    "read_scenario",
    "read_tracking",
]

# Every UTC after the last announced leap second is a "dubious year" to the library. A plan
# lies there by nature; the package says so once, in the notes of its results.
warnings.filterwarnings("ignore", message=".*dubious year", category=ErfaWarning)
