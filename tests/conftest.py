"""What several tests share: the demonstration campaign, whole and shortened."""

import os
from pathlib import Path

# Two test processes share two cores: threads of the linear algebra would only get in each other's
# way. It must be set before numpy is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# Lines of the command line are as long in every test, whatever the terminal of the tests is.
os.environ["COLUMNS"] = "140"

import pytest
from scenario_text import with_a_pole_hardly_known

import wobble

ROOT = Path(__file__).parents[1]
DEMONSTRATION = ROOT / "synthetic_passes"


def shortened(text: str) -> str:
    """The demonstration's scenario over two months, without what costs time or is known well."""
    return (
        with_a_pole_hardly_known(text)
        .replace("stop = 2033-05-01", "stop = 2031-07-01")
        .replace('catalogue = "stations.toml"', f'catalogue = "{DEMONSTRATION}/stations.toml"')
        .replace("corona_scale = 1.0", "corona_scale = 0.0")
    )


@pytest.fixture(scope="session")
def short_text():
    return shortened((DEMONSTRATION / "campaign.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def short_scenario(short_text, tmp_path_factory):
    path = tmp_path_factory.mktemp("scenario") / "campaign.toml"
    path.write_text(short_text, encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def short_campaign(short_scenario):
    return wobble.read_scenario(short_scenario)


@pytest.fixture(scope="session")
def short_periods(short_campaign):
    return short_campaign.view_periods()


@pytest.fixture(scope="session")
def short_passes(short_campaign, short_periods):
    return short_campaign.schedule(short_periods)


@pytest.fixture(scope="session")
def short_tracking(short_campaign, short_passes):
    return short_campaign.simulate(short_passes)
