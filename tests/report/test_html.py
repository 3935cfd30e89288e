"""The report as a page: its structure, its completeness, what it must never lack."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest
from conftest import Rehearsal

from wobble import __version__
from wobble.errors import InputError
from wobble.noise.budget_table import parameter_table
from wobble.report.content import ReportFigure
from wobble.report.figures import report_figures
from wobble.report.html import render_report

VOID = {"meta", "br", "hr", "img", "link", "input", "wbr"}


class Page(HTMLParser):
    """Collects what the tests ask for, and sees that every tag is closed in order."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.figures: list[list[str]] = []
        self.words: list[str] = []
        self.tables: list[list[list[str]]] = []
        self.feed(text)
        self.close()
        assert not self.open, self.open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in VOID:
            self.open.append(tag)
        given = {key: value or "" for key, value in attrs}
        self.attributes += [(tag, key, value) for key, value in given.items()]
        self.ids += [given["id"]] if "id" in given else []
        self.links += [given["href"]] if tag == "a" else []
        if tag == "figure":
            self.figures.append([])
        if "figure" in self.open:
            self.figures[-1].append(f"{tag} {given.get('role', '')}".strip())
        if tag == "table":
            self.tables.append([])
        if tag == "tr":
            self.tables[-1].append([])
        if tag in ("th", "td"):
            self.tables[-1][-1].append("")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.handle_endtag(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open, tag
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" in self.open:
            return
        self.words.append(data)
        if self.open and self.open[-1] in ("th", "td"):
            self.tables[-1][-1][-1] += data

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.words))

    def row(self, first: str) -> list[str]:
        """The table row that begins with a cell."""
        return next(row for table in self.tables for row in table if row and row[0] == first)


@pytest.fixture(scope="module")
def full_text(rehearsal: Rehearsal, drawn: list[ReportFigure]) -> str:
    return render_report(**rehearsal.all, figures=drawn)


@pytest.fixture(scope="module")
def full(full_text: str) -> Page:
    return Page(full_text)


def test_the_page_needs_nothing_but_itself(full_text: str, full: Page) -> None:
    assert "http" not in full_text
    assert "<script" not in full_text
    assert "@import" not in full_text
    for tag, key, value in full.attributes:
        assert key != "src", tag
        if key == "href":
            assert value.startswith("#")
    assert all(target.startswith("#") for target in re.findall(r"url\(([^)]+)\)", full_text))


def test_ids_are_unique_and_links_are_met(full: Page) -> None:
    assert len(full.ids) == len(set(full.ids))
    assert full.links
    for link in full.links:
        assert link.removeprefix("#") in full.ids


def test_every_figure_has_a_text_in_its_place(full: Page, drawn: list[ReportFigure]) -> None:
    assert len(full.figures) == len(drawn) == 16
    for tags in full.figures:
        assert tags.count("svg img") == 1
        start = tags.index("svg img")
        assert tags[start + 1 : start + 3] == ["title", "desc"]
        assert "figcaption" in tags


def test_every_parameter_stands_with_its_uncertainties(full: Page, rehearsal: Rehearsal) -> None:
    for name in rehearsal.solution.names:
        row = full.row(name)
        estimate = rehearsal.solution[name]
        value = float(row[1].replace("\N{MINUS SIGN}", "-"))
        assert abs(value - estimate.value) <= 0.06 * estimate.sigma
        assert len(row) == 8
    head = full.row("parameter")
    assert head[:6] == ["parameter", "value", "sigma", "unit", "formal", "a priori"]
    assert head[6:] == ["error / sigma", "remark"]
    assert full.row("core.factor")[-1] == "not improved by the data"


def test_the_summary_says_what_was_asked_what_came_out_and_how_sure(full: Page) -> None:
    summary = full.text[: full.text.index("Sigma is the realistic")]
    for words in (
        "Rehearsal with simulated measurements",
        "finch on Mars, tracked from gorse, heath.",
        "From 2021-03-01 to 2021-03-19.",
        "4 passes a week of 20 min",
        "6 parameters to be estimated: 2 of pole, 1 of core, 3 of lander.",
        "40 view periods",
        "11 passes proposed: 3.7 station hours",
        "samples used and 1 rejected",
        "The truth of the rehearsal is recovered",
        "only the a priori value speaks on pole.obliquity, core.factor",
    ):
        assert words in summary, words


def test_a_truth_that_is_missed_is_called_so_in_words(rehearsal: Rehearsal) -> None:
    truth = rehearsal.truth
    truth["lander.finch.z"] += 10.0 * rehearsal.solution.sigma_realistic[-1]
    page = Page(render_report(**rehearsal.all | {"truth": truth}, figures=[]))
    assert "Attention: the truth is not recovered" in page.text
    assert "(lander.finch.z)" in page.text


def test_what_was_rejected_stands_with_its_reason(full: Page, rehearsal: Rehearsal) -> None:
    samples = rehearsal.solution.samples
    (bad,) = np.flatnonzero(~samples.accepted)
    (log,) = [t for t in full.tables if t[0][-1] == "reason"]
    assert len(log) == 2
    assert log[1][0] == samples.pass_name[bad]
    assert log[1][-1] == samples.reason[bad]
    assert "(limit 4)" in log[1][-1]


def test_each_pass_has_its_row(full: Page, rehearsal: Rehearsal) -> None:
    (table,) = [t for t in full.tables if t[0][:2] == ["pass", "station"] and "rejected" in t[0]]
    assert [row[0] for row in table[1:]] == rehearsal.passes.pass_id.tolist()
    assert [row[1] for row in table[1:]] == rehearsal.passes.station.tolist()


def test_cautions_and_provenance_are_never_lacking(full: Page, rehearsal: Rehearsal) -> None:
    for words in (
        "A schedule is a proposal",
        "The limits here replace no local rule",
        f"wobble {__version__}",
        "finch.toml",
        "astropy-iers-data",
        "4711",
        str(rehearsal.solution.provenance["date"]),
    ):
        assert words in full.text, words
    assert full.row("ephemeris")[1] == rehearsal.solution.provenance["ephemeris"]


def test_names_from_the_scenario_are_escaped(full_text: str, full: Page) -> None:
    assert "Finch & <friends>" in full.text
    assert "<friends>" not in full_text
    assert "Finch &amp; &lt;friends&gt;" in full_text


def test_the_same_results_give_the_same_page(full_text: str, rehearsal: Rehearsal) -> None:
    assert render_report(**rehearsal.all) == full_text


def test_only_the_figures_given_are_set(rehearsal: Rehearsal, drawn: list[ReportFigure]) -> None:
    page = Page(render_report(**rehearsal.all, figures=drawn[:1]))
    assert len(page.figures) == 1
    assert drawn[0].name in page.ids


def test_a_plan_makes_a_report_without_a_solution(rehearsal: Rehearsal) -> None:
    page = Page(
        render_report(
            campaign=rehearsal.campaign, periods=rehearsal.periods, passes=rehearsal.passes
        )
    )
    assert "How sure it is" not in page.text
    assert "parameters" not in page.ids
    assert {"timeline", "coverage", "budget-allan", "cautions", "provenance"} <= set(page.ids)
    assert page.row("pass")[:3] == ["pass", "station", "lander"]


def test_a_fit_of_real_data_makes_a_report_without_a_plan(rehearsal: Rehearsal) -> None:
    real = replace(rehearsal.tracking, meta={"source": "measured"})
    campaign = replace(rehearsal.campaign, span=None, rule=None)
    names = {f.name for f in report_figures(campaign=campaign, tracking=real)}
    assert names == {"coverage", "budget-sun-angle", "budget-allan"}
    page = Page(
        render_report(campaign=campaign, solution=rehearsal.solution, tracking=real, figures=[])
    )
    assert "Fit of measurements" in page.text
    assert "truth" not in page.text
    assert {"parameters", "residuals", "provenance"} <= set(page.ids)
    assert "schedule" not in page.ids


def test_a_solution_alone_makes_a_report(rehearsal: Rehearsal) -> None:
    page = Page(render_report(campaign=rehearsal.campaign, solution=rehearsal.solution))
    assert {"residuals-range", "correlation-matrix", "residual-histogram"} <= set(page.ids)
    assert "coverage" not in page.ids


def test_a_campaign_alone_makes_a_report(rehearsal: Rehearsal) -> None:
    page = Page(render_report(campaign=rehearsal.campaign, figures=[]))
    assert page.row("gorse")[1] == "33.0000"
    assert page.row("finch")[1] == "10.0000"


def test_a_solution_of_other_measurements_is_refused(rehearsal: Rehearsal) -> None:
    with pytest.raises(InputError, match="was not made from these measurements"):
        render_report(**rehearsal.all | {"tracking": rehearsal.tracking[:-3]})


def test_every_parameter_of_the_noise_stands_with_its_value(rehearsal: Rehearsal) -> None:
    page = Page(render_report(campaign=rehearsal.campaign, figures=[]))
    assert rehearsal.campaign.budget is not None
    for row in parameter_table(rehearsal.campaign.budget):
        assert row.name in page.text
        assert row.text in page.text
    assert "stated or default" in page.text
