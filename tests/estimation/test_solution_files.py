"""A solution written and read back, exactly."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from invented import varied_solution

from wobble.errors import InputError, UnknownNameError
from wobble.estimation.solution import Solution
from wobble.estimation.solution_text import solution_as_text
from wobble.files.solution_files import (
    information_as_text,
    read_information,
    read_solution,
    write_solution,
)


@pytest.fixture(scope="module")
def solution() -> Solution:
    return varied_solution()


def test_a_solution_is_read_back_exactly(solution: Solution, tmp_path: Path) -> None:
    write_solution(tmp_path, solution)
    again = read_solution(tmp_path)
    for name in (
        "values",
        "covariance_formal",
        "covariance_realistic",
        "sensitivity",
        "a_priori_share",
    ):
        np.testing.assert_array_equal(getattr(again, name), getattr(solution, name))
    for name in ("residual", "sigma", "predicted", "accepted", "reason", "epoch", "pass_name"):
        np.testing.assert_array_equal(getattr(again.samples, name), getattr(solution.samples, name))
    np.testing.assert_array_equal(again.information.factor, solution.information.factor)
    for name in (
        "iterations",
        "jumps",
        "pass_estimates",
        "weak",
        "unseen",
        "components",
        "provenance",
    ):
        assert getattr(again, name) == getattr(solution, name)
    assert again.parameters.parameters == solution.parameters.parameters
    assert again.as_json() == solution.as_json()
    assert str(again) == str(solution)


def test_the_files_are_few_and_have_telling_names(solution: Solution) -> None:
    assert list(solution.files()) == [
        "solution.ecsv",
        "covariance.ecsv",
        "covariance_formal.ecsv",
        "information.ecsv",
        "residuals.ecsv",
        "pass_parameters.ecsv",
        "solution.json",
    ]
    assert json.loads(solution.files()["solution.json"]) == solution.as_json()


def test_information_is_read_back_exactly(solution: Solution, tmp_path: Path) -> None:
    path = tmp_path / "information.ecsv"
    path.write_text(information_as_text(solution.information))
    again = read_information(path)
    assert again.names == solution.information.names
    assert again.considered == ("station.one.x",)
    assert again.samples == solution.information.samples
    np.testing.assert_array_equal(again.factor, solution.information.factor)
    np.testing.assert_array_equal(again.reference, solution.values)


FAULTS = {
    "nothing": (r"(?s).*", "", "the file is empty"),
    "cut off": (r"(?s).{40}\Z", "", "cut off"),
    "without a row": (r"\npole\.term_1 [^\n]*", "", "not the same parameters"),
    "not a number": (r"\npole\.term_1 \S+", r"\npole.term_1 nan", "not finite"),
    "a word": (r"\npole\.term_1 \S+", r"\npole.term_1 many", "cannot be read as ECSV"),
    "no reference": ("reference:", "refrence:", "reference: the head"),
    "a short reference": (r"(?s)reference:.*?\n", "reference: [1.0]\n", "do not match the param"),
    "no count": (r"samples: \d+", "samples: many", "samples: the head"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_information_with_a_fault_is_refused_in_one_line(
    fault: str, solution: Solution, tmp_path: Path
) -> None:
    pattern, replacement, said = FAULTS[fault]
    path = tmp_path / "information.ecsv"
    text, count = re.subn(pattern, replacement, information_as_text(solution.information), count=1)
    assert count == 1
    path.write_text(text)
    with pytest.raises(InputError, match=said) as caught:
        read_information(path)
    assert str(path) in str(caught.value)
    assert len(str(caught.value).splitlines()) == 1


def test_what_a_solution_went_on_from_is_read_back_exactly(
    solution: Solution, tmp_path: Path
) -> None:
    going_on = replace(solution, earlier=solution.information)
    write_solution(tmp_path, going_on)
    earlier = read_solution(tmp_path).earlier
    assert earlier is not None
    np.testing.assert_array_equal(earlier.factor, solution.information.factor)
    # A solution that went on from nothing takes no notice of the file that is left there.
    write_solution(tmp_path, solution)
    assert read_solution(tmp_path).earlier is None


def test_a_covariance_of_other_parameters_is_refused(solution: Solution, tmp_path: Path) -> None:
    write_solution(tmp_path, solution)
    path = tmp_path / "covariance.ecsv"
    path.write_text(path.read_text().replace("pole.term_2", "pole.term_9"))
    with pytest.raises(InputError, match="covariance does not match") as caught:
        read_solution(tmp_path)
    assert "pole.term_9" in str(caught.value)
    assert str(path) in str(caught.value)


def test_files_that_are_missing_cut_or_incomplete_are_named(
    solution: Solution, tmp_path: Path
) -> None:
    with pytest.raises(InputError, match="no results of a fit"):
        read_solution(tmp_path)
    write_solution(tmp_path, solution)
    path = tmp_path / "residuals.ecsv"
    whole = path.read_text()
    path.write_text(whole.replace("predicted", "expected"))
    with pytest.raises(InputError, match="a column is missing"):
        read_solution(tmp_path)
    path.write_text(whole[: len(whole) // 2])
    with pytest.raises(InputError, match=r"residuals\.ecsv"):
        read_solution(tmp_path)
    path.write_bytes(bytes(range(256)))
    with pytest.raises(InputError, match=r"residuals\.ecsv"):
        read_solution(tmp_path)


def test_estimates_carry_units_and_convert(solution: Solution) -> None:
    estimate = solution["pole.term_0"]
    assert estimate.unit == "mm"
    assert estimate.value == pytest.approx(solution.values[0] * 1e3)
    assert estimate.to("m").value == pytest.approx(solution.values[0])
    assert estimate.to("m").sigma == pytest.approx(estimate.sigma / 1e3)
    with pytest.raises(InputError, match="another dimension"):
        estimate.to("s")
    with pytest.raises(InputError, match="unknown unit"):
        estimate.to("furlong")
    with pytest.raises(UnknownNameError, match=r"pole\.term_0"):
        solution["pole.term0"]
    assert "+-" in str(estimate)


def test_text_and_notebook_show_the_same_facts(solution: Solution) -> None:
    text, page = str(solution), solution._repr_html_()
    for fact in (
        "pole.term_5",
        "1 rejected",
        "P003",
        "shifted: P005 range in the whole pass by +",
        "rms range_m",
    ):
        assert fact in text
        assert fact in page
    assert text.startswith("Solution from")
    # The table of parameters; that of both kinds of data and all.
    assert page.count("<tr>") == 1 + len(solution.names) + 1 + 3


def test_no_remark_is_lost_where_there_is_no_room_for_it(solution: Solution) -> None:
    share = np.where(np.arange(6) == 1, 0.9, 0.0)
    limited = replace(solution, a_priori_share=share, limited_by=("pole.term_0",) * 6)
    wide, narrow = (solution_as_text(limited, width) for width in (120, 40))
    assert re.search(r"\npole\.term_1 .*limited a priori \(pole\.term_0\)\n", wide)
    assert "limited a priori (pole.term_0): pole.term_1\n" not in wide
    assert "limited a priori (pole.term_0): pole.term_1\n" in narrow
    assert max(map(len, narrow.split("\n\n")[2].splitlines())) <= 40


def test_uncertainties_are_ordered_and_correlations_are_correlations(solution: Solution) -> None:
    assert (solution.sigma_realistic >= solution.sigma_formal).all()
    assert np.diag(solution.correlation) == pytest.approx(np.ones(6))
    assert (np.abs(solution.correlation) <= 1.0 + 1e-12).all()
    assert solution.correlation[3, 4] == pytest.approx(1.0)
