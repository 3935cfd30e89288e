"""Data flows one way: a module imports only from what stands above it (DEVELOPERS.md)."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import wobble

PACKAGE = Path(wobble.__file__).parent
FOUNDATIONS = (
    *("version", "constants", "errors", "shown", "epochs", "chebyshev", "rotations"),
    *("ephemeris", "measurements"),
)
LAYERS = ("earth", "planet", "link", "noise", "estimation", "campaign")
"""From top to bottom; the rooms for files, `check`, `report` and the commands come after all."""
NOT_BEFORE = ("text", "tdm", "files", "scenario", "check", "report", "commands", "cli")


def imported(path: Path) -> set[str]:
    """Parts of the package that a module needs in order to be imported."""
    found = set()
    waiting: list[ast.AST] = [ast.parse(path.read_text(encoding="utf-8"))]
    while waiting:
        node = waiting.pop()
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)) or (
            isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
        ):
            continue
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("wobble."):
            found.add(str(node.module).split(".")[1])
        waiting += ast.iter_child_nodes(node)
    return found


@pytest.mark.parametrize("layer", LAYERS)
def test_a_layer_needs_only_those_above_it(layer):
    above = {*FOUNDATIONS, *LAYERS[: LAYERS.index(layer) + 1]}
    modules = list((PACKAGE / layer).rglob("*.py"))
    assert len(modules) > 3
    wrong = {path.name: imported(path) - above for path in modules if imported(path) - above}
    assert not wrong


def test_the_foundations_need_nothing_of_the_rest():
    for name in FOUNDATIONS:
        path = PACKAGE / name
        modules = list(path.rglob("*.py")) if path.is_dir() else [path.with_suffix(".py")]
        assert modules
        for module in modules:
            assert imported(module) <= set(FOUNDATIONS)


def test_every_part_of_the_package_has_its_place():
    parts = {path.stem for path in PACKAGE.iterdir() if path.suffix == ".py" or path.is_dir()}
    assert parts - {"__init__", "__pycache__", "py"} == {*FOUNDATIONS, *LAYERS, *NOT_BEFORE}


@pytest.mark.parametrize(
    ("loaded", "heavy"),
    [
        ("wobble", ("numpy", "scipy", "astropy", "matplotlib")),
        ("wobble.cli", ("scipy", "astropy", "matplotlib")),
    ],
)
def test_help_and_import_load_no_physics(loaded, heavy):
    # What loads the libraries waits seconds before it says a word.
    code = f"import sys, {loaded}; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_every_public_name_is_where_the_package_says():
    assert set(wobble.__all__) - {"__version__"} == set(wobble._HOMES)
    for name in wobble.__all__:
        assert getattr(wobble, name) is not None
    assert dir(wobble) == sorted(wobble.__all__)
    with pytest.raises(AttributeError, match="no attribute 'camapign'"):
        wobble.camapign  # noqa: B018
