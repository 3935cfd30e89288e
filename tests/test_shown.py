"""Objects in a user's hands say on one line what they are, and show a table in a notebook."""

from html.parser import HTMLParser

import pytest
from astropy.table import Table

import wobble
from wobble.campaign.sensitivity import signatures
from wobble.files.body_file import read_nutation_setup
from wobble.planet.angle_sets import angle_series
from wobble.shown import as_code, shortly, with_table, with_the_digits_of


@pytest.fixture(scope="module")
def objects(short_campaign, short_periods, short_passes, short_tracking):
    campaign, network = short_campaign, short_campaign.plan_network
    solution = campaign.fit(short_tracking)
    link = network.link("alder", "heron", "alder", short_tracking.frequency[:1])
    visible = short_tracking[:1].epoch
    setup = read_nutation_setup("mars")
    computed = setup.compute()
    half = 30.0 * 365.25 * 86400.0
    return {
        "station": campaign.stations[0],
        "lander": campaign.landers[0],
        "body": campaign.body,
        "rotation": campaign.body.orientation,
        "campaign": campaign,
        "view periods": short_periods,
        "passes": short_passes,
        "budget": campaign.budget,
        "parameters": campaign.parameters,
        "tracking": short_tracking,
        "solution": solution,
        "samples": solution.samples,
        "estimate": solution["lander.heron.z"],
        "network": network,
        "computed tracking": network.compute(short_tracking[:5]),
        "link": link,
        "computed range": link.range(visible),
        "computed range rate": link.range_rate(visible, 60.0),
        "signatures": signatures(link, visible, ["spin.rate"]),
        "candidates": campaign.candidates(short_passes),
        "precision": campaign.precision(short_passes),
        "ephemeris": wobble.open_ephemeris("de440"),
        "precession": computed.budget(),
        "nutation": computed.series,
        "angles": angle_series(
            "mars",
            campaign.body.orientation,
            "orbit",
            wobble.open_ephemeris("de440"),
            -half,
            half,
        ),
        "check by hand": wobble.hand_check(campaign),
    }


TABLES = (
    *("view periods", "passes", "budget", "parameters", "solution", "signatures", "precision"),
    *("nutation", "check by hand"),
)


def test_each_says_on_few_lines_what_it_is(objects):
    for name, thing in objects.items():
        text = repr(thing)
        assert "object at 0x" not in text, name
        assert "array(" not in text, name
        assert "\x1b" not in text, name
        assert len(text) < 400 or name in ("solution", "parameters"), (name, text)


def test_each_table_is_one_in_a_notebook(objects):
    for name in TABLES:
        text = objects[name]._repr_html_()
        assert "<table" in text, name
        _Balanced(text)


def test_every_html_form_closes_what_it_opens(objects):
    shown = [thing for thing in objects.values() if hasattr(thing, "_repr_html_")]
    assert len(shown) > len(TABLES)
    for thing in shown:
        _Balanced(thing._repr_html_())


def test_they_say_what_matters(objects):
    assert repr(objects["network"]) == (
        "<Network: heron on mars, stations alder, broom, cliff; DE440>"
    )
    assert repr(objects["link"]).startswith("<Link alder - heron - alder, ")
    assert "after each of 27 passes" in repr(objects["precision"])
    assert repr(objects["samples"]).startswith("<Samples: 1485 in 27 passes")
    assert "<Estimate lander.heron.z = 2690" in repr(objects["estimate"])
    assert "-7608.98 mas/yr in all" in repr(objects["precession"])
    assert "solar_plasma" in objects["budget"]._repr_html_()


def test_text_is_escaped_and_numbers_are_short():
    assert as_code("a <b>\nc") == "<pre>a &lt;b&gt;\nc</pre>"
    text = with_table("x & y", Table({"n": ["<i>"], "v": [1.23456789]}))
    assert "x &amp; y" in text
    assert "&lt;i&gt;" in text
    assert "1.235" in text
    assert "1.2345" not in text


class _Balanced(HTMLParser):
    """Fails if a tag is not closed."""

    def __init__(self, text):
        super().__init__()
        self.open = []
        self.feed(text)
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        if tag not in ("br", "meta"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


@pytest.mark.parametrize(
    ("value", "digits", "signed", "text"),
    [
        (112.3, 2, False, "110"),
        (-1234.5, 3, True, "-1230"),
        (99.96, 2, False, "100"),
        (9.3, 3, True, "+9.3"),
        (0.00022, 2, False, "0.00022"),
        (1.87e-8, 2, False, "1.9e-08"),
        (3.456e6, 2, False, "3.5e+06"),
        (float("inf"), 2, False, "inf"),
    ],
)
def test_numbers_are_short_and_plain_where_they_can_be(value, digits, signed, text):
    assert shortly(value, digits, signed=signed) == text


@pytest.mark.parametrize(
    ("sigma", "value", "text"),
    [
        (25.5, -7651.27395993, "-7651"),
        (1.9e-8, 350.8919855134, "350.891985513"),
        (103.0, -2490131.27, "-2490131"),
        (0.0, 1.23456789, "1.23457"),
        (float("inf"), 1.23456789, "1.23457"),
        (1e-20, 0.1, "0.1"),
    ],
)
def test_a_value_has_the_digits_that_its_uncertainty_leaves(sigma, value, text):
    assert with_the_digits_of(sigma, value) == text
