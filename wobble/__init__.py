"""From two-way tracking of a lander to the rotation and the interior of its planet.

The trade's sentences:

>>> import wobble
>>> campaign = wobble.read_scenario("campaign.toml")      # doctest: +SKIP
>>> periods = campaign.view_periods()                     # doctest: +SKIP
>>> passes = campaign.schedule(periods)                   # doctest: +SKIP
>>> data = campaign.simulate(passes, seed=7)              # doctest: +SKIP
>>> solution = campaign.fit(data)                         # doctest: +SKIP
>>> solution["pole.precession_rate"].to("mas/yr")         # doctest: +SKIP
"""

import warnings

from erfa import ErfaWarning

# Every UTC after the last announced leap second is a "dubious year" to the library. A plan
# lies there by nature; the package says so once, in the notes of its results.
warnings.filterwarnings("ignore", message=".*dubious year", category=ErfaWarning)

__version__ = "0.1.0"
