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

import importlib
import warnings
from typing import TYPE_CHECKING, Any

from wobble.version import __version__

if TYPE_CHECKING:  # what is below is loaded when it is asked for
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

_HOMES = {
    "Campaign": "campaign.campaign",
    "InputError": "errors",
    "Network": "link.network",
    "Solution": "estimation.solution",
    "Tracking": "measurements.tracking",
    "WobbleError": "errors",
    "hand_check": "check.hand_check",
    "open_ephemeris": "ephemeris",
    "read_body": "files.body_file",
    "read_catalogue": "scenario.station_sections",
    "read_scenario": "scenario.reader",
    "read_tracking": "files.data_files",
}
"""Where each public name lives. Loading all of them takes seconds, of which help needs nothing."""

# Every UTC after the last announced leap second is a "dubious year" to the library. A plan
# lies there by nature; the package says so once, in the notes of its results.
warnings.filterwarnings("ignore", message=".*dubious year")


def __getattr__(name: str) -> Any:
    """A public name, loaded from its home."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    found = getattr(importlib.import_module(f"{__name__}.{_HOMES[name]}"), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted(__all__)
