"""SVG that is the same each time, and can stand beside others in a page."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from matplotlib.figure import Figure

from wobble.report.style import BLUE, INK, offscreen, style
from wobble.report.svg import figure_svg, inline

NAME = "{http://www.w3.org/2000/svg}"


def figure() -> Figure:
    with offscreen(), style():
        drawn = Figure(figsize=(4, 3), layout="compressed")
        axes = drawn.add_subplot()
        axes.plot([0.0, 1.0, 2.0], [0.02, 0.0256, 0.03], marker="o", color=BLUE)
        axes.set_yticks([0.0256], ["0.0256 of it & more"])
        axes.fill_between([0.0, 2.0], 0.01, 0.02, hatch="//", facecolor="none", edgecolor=INK)
    return drawn


def svg(name: str = "first") -> str:
    return figure_svg(figure(), name, "A title", "What 0.0497 < 1 shows")


def test_the_same_figure_gives_the_same_bytes() -> None:
    assert svg() == svg()
    assert not re.search(r"\b20\d\d-\d\d-\d\d", svg())


def test_it_is_an_xml_document_of_the_standard_namespace() -> None:
    root = ElementTree.fromstring(svg())
    assert root.tag == f"{NAME}svg"
    assert root.get("viewBox")
    assert {element.tag.startswith(NAME) for element in root.iter()} == {True}


def test_a_reader_who_does_not_see_it_is_told() -> None:
    root = ElementTree.fromstring(svg())
    assert root.get("role") == "img"
    title, description = root[0], root[1]
    assert (title.tag, title.text) == (f"{NAME}title", "A title")
    assert (description.tag, description.text) == (f"{NAME}desc", "What 0.0497 < 1 shows")
    assert root.get("aria-labelledby") == f"{title.get('id')} {description.get('id')}"


def test_ids_are_prefixed_and_every_reference_is_met() -> None:
    text = svg()
    ids = re.findall(r' id="([^"]+)"', text)
    assert len(ids) == len(set(ids))
    assert all(one.startswith("first-") for one in ids)
    referred = set(re.findall(r'(?:url\(|href=")#([^)"]+)', text))
    assert len(referred) >= 3  # a marker, a clip path and a hatch
    assert referred <= set(ids)
    assert not set(ids) & set(re.findall(r' id="([^"]+)"', svg("second")))


def test_the_ink_takes_the_colour_of_the_page() -> None:
    assert INK not in svg()
    assert "currentColor" in svg()
    assert BLUE in svg()
    assert "var(--blue)" in inline(svg())
    assert BLUE not in inline(svg())


def test_texts_stay_texts_and_keep_their_digits() -> None:
    texts = [e.text for e in ElementTree.fromstring(svg()).iter(f"{NAME}text")]
    assert "0.0256 of it & more" in texts


def test_places_are_rounded_to_a_hundredth_of_a_point() -> None:
    paths = " ".join(re.findall(r' d="([^"]+)"', svg()))
    numbers = re.findall(r"\d+\.(\d+)", paths)
    assert numbers
    assert max(map(len, numbers)) <= 2


def test_nothing_acts_on_the_page_around_it() -> None:
    assert "<style" not in svg()
    assert "http" not in inline(svg())
    with pytest.raises(ValueError, match="substring not found"):
        inline(svg()).index("xmlns")
