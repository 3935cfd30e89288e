"""Figures as SVG: the same bytes each time, readable on any page, with a text in their place.

In: a matplotlib figure, its name, a title and a description. Out: SVG text.

What matplotlib writes is put in order: no date, no ids but those that are referred to,
these prefixed with the figure's name so that many figures live in one page; text stays
text; `INK` becomes ``currentColor``, so that axes and labels take the page's colour in
light and in dark; title and description stand where a screen reader looks for them.
"""

from __future__ import annotations

import io
import re
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

import matplotlib as mpl
from matplotlib.figure import Figure

from wobble.report.style import BLUE, INK

__all__ = ["figure_svg", "inline"]

SVG = "http://www.w3.org/2000/svg"
LINK = "{http://www.w3.org/1999/xlink}href"
GEOMETRY = ("d", "x", "y", "width", "height", "transform")
"""Attributes whose numbers are points on the paper."""


def figure_svg(figure: Figure, name: str, title: str, description: str) -> str:
    """A figure as an SVG document.

    Parameters
    ----------
    figure : Figure
    name : str
        Of letters, digits and hyphens; unique among the figures of a page.
    title, description : str
        What a reader who does not see the figure is told.
    """
    text = io.StringIO()
    # The names of clip paths and markers are hashes of their content and of this salt.
    with mpl.rc_context({"svg.hashsalt": name, "svg.fonttype": "none"}):
        figure.savefig(text, format="svg", transparent=True)
    root = ElementTree.fromstring(text.getvalue())
    _drop_metadata(root)
    _rename_ids(root, name)
    for element in root.iter():
        _simplify(element)
    # What matplotlib's style sheet says; as a sheet it would act on the whole page.
    root.set("style", "stroke-linejoin: round; stroke-linecap: butt")
    _describe(root, name, title, description)
    root.set("xmlns", SVG)
    return re.sub(r"\s*\n\s*", "\n", ElementTree.tostring(root, encoding="unicode")) + "\n"


def inline(svg: str) -> str:
    """The same for a place within an HTML page.

    No namespace is declared there, and the page's style sheet says what blue is: the one
    colour of the palette that would be too dark on a dark page.
    """
    return svg.replace(f' xmlns="{SVG}"', "", 1).replace(BLUE, "var(--blue)").strip()


def _drop_metadata(root: Element) -> None:
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag in (f"{{{SVG}}}metadata", f"{{{SVG}}}style"):
                parent.remove(child)


def _rename_ids(root: Element, name: str) -> None:
    """Keep the ids that are referred to, with the figure's name before them."""
    text = ElementTree.tostring(root, encoding="unicode")
    referred = set(re.findall(r'(?:url\(|href=")#([^)"]+)', text))
    for element in root.iter():
        own = element.attrib.pop("id", None)
        if own in referred:
            element.set("id", f"{name}-{own}")
        target = element.attrib.pop(LINK, None)
        if target is not None:
            element.set("href", target.replace("#", f"#{name}-"))
        for key, value in element.attrib.items():
            element.set(key, value.replace("url(#", f"url(#{name}-"))


def _simplify(element: Element) -> None:
    """No namespace, the ink in the page's colour, places to a hundredth of a point."""
    element.tag = element.tag.removeprefix(f"{{{SVG}}}")
    for key, value in element.attrib.items():
        element.set(key, value.replace(INK, "currentColor"))
        if key in GEOMETRY:
            element.set(key, re.sub(r"-?\d+\.\d{3,}", lambda m: f"{float(m[0]):.2f}", value))


def _describe(root: Element, name: str, title: str, description: str) -> None:
    root.set("role", "img")
    root.set("aria-labelledby", f"{name}-title {name}-desc")
    for place, (tag, text) in enumerate((("title", title), ("desc", description))):
        element = Element(tag, {"id": f"{name}-{tag}"})
        element.text = text
        root.insert(place, element)
