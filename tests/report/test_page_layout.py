"""The page on a telephone, a tablet and a desk, by day and by night, and on paper."""

import re

import pytest
from page_judges import by_document, judges

from wobble.check.lines import HandCheck, HandLine
from wobble.planet.interior import PolarMoment
from wobble.report.html import render_report
from wobble.report.interior_section import Inside

WIDTHS = (360, 800, 1280)
LINES = (
    HandLine(
        "light time", "[cos S + sqrt(1.524^2 - sin^2 S)] au/c " * 4, 1.0, 1.0, "s", (0.9, 1.1), "?"
    ),
    HandLine(
        "signature of spin.quarterannual_cos, per mas", "R", 1.0, 3.0, "mm/s", (0.9, 1.1), "?"
    ),
)


@pytest.fixture(scope="module")
def page(rehearsal, drawn):
    inside = Inside(PolarMoment(0.00538, 1e-5, 0.3637, 1e-4), True, None, "the data say nothing")
    check = HandCheck("finch", LINES)
    return render_report(**rehearsal.all, inside=inside, check=check, figures=drawn)


@pytest.mark.parametrize("judge", judges())
@pytest.mark.parametrize("width", WIDTHS)
def test_nothing_sticks_out_and_nothing_complains(page, width, judge):
    laid = judges()[judge](page, width, dark=False)
    assert laid.outside == []
    assert laid.complaints == []


@pytest.mark.parametrize("judge", judges())
def test_a_table_outside_its_box_would_be_seen(page, judge):
    wide = "<table><tr>" + "<td>wide_and_unbreakable</td>" * 40 + "</tr></table></main>"
    assert judges()[judge](page.replace("</main>", wide), 360, dark=False).outside


@pytest.mark.parametrize("judge", judges())
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_ink_stands_out_from_paper(page, dark, judge):
    laid = judges()[judge](page, 800, dark=dark)
    paper, ink = _luminance(laid.paper), _luminance(laid.ink)
    assert (paper < ink) == dark
    # 7:1 is the stricter ratio of the Web Content Accessibility Guidelines 2.1, 1.4.6.
    assert (max(paper, ink) + 0.05) / (min(paper, ink) + 0.05) > 7.0


def _luminance(colour):
    """Relative luminance (Web Content Accessibility Guidelines 2.1)."""
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in colour]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_the_document_and_the_browser_agree_on_the_colours(page):
    seen = {name: judge(page, 800, dark=True).paper for name, judge in judges().items()}
    expected = by_document(page, 800, dark=True).paper
    assert all(paper == pytest.approx(expected, abs=0.01) for paper in seen.values())


def test_paper_has_no_navigation_and_no_page_break_in_a_figure(page):
    printed = page[page.index("@media print") : page.index("</style>")]
    assert re.search(r"nav \{ display: none; \}", printed)
    assert {"figure", "table", "tr"} <= _with(printed, "break-inside: avoid")
    # Tables that are long enough to be folded may be longer than a page.
    assert "details table" in _with(printed, "break-inside: auto")
    assert re.search(r"\.scroll \{ overflow: visible; \}", printed)


def test_on_paper_no_heading_stands_alone_at_the_foot_of_a_page(page):
    # Seen in print: heading, a sentence and the caption of a table at the foot, the table overleaf.
    printed = page[page.index("@media print") : page.index("</style>")]
    heads = {"h1", "h2", "h3", "h2 + p", "caption", "thead", "details > summary"}
    assert heads <= _with(printed, "break-after: avoid")


def _with(sheet, declaration):
    """Selectors of the rules that hold a declaration."""
    rules = re.findall(r"([^{}]+)\{([^{}]*)\}", sheet)
    lists = [selectors for selectors, body in rules if declaration in body]
    return {one.strip() for selectors in lists for one in selectors.split(",")}


def test_the_sections_stand_in_the_order_of_a_reader(page):
    ids = re.findall(r'<section id="([\w-]+)"', page)
    wanted = ["summary", "parameters", "correlations", "residuals", "budget", "schedule"]
    wanted += ["interior", "hand-check"]
    assert [name for name in ids if name in wanted] == wanted
    assert ids[-1] == "provenance"


def test_a_factor_of_two_by_hand_is_named_in_words_and_in_colour(page):
    section = page[page.index('<section id="hand-check"') :]
    section = section[: section.index("</section>")]
    assert "A FACTOR OF 3 apart" in section
    # Once in the list above the table, once in its row.
    assert section.count('<strong class="attention">Attention: </strong>') == 2


def test_an_interior_without_a_core_says_why(page):
    assert "polar moment of inertia C/MR² of 0.36370 ± 0.00010" in page
    assert "Of the core nothing is inferred: the data say nothing." in page
