"""The rules of the house that DEVELOPERS.md states: who may import whom, who may open files, what starts quickly."""

import ast
import functools
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[1] / "pipeline" / "packpale"
ROOMS = ["site", "land", "enclosure", "earthworks", "care", "review"]
COMPUTING = ["land", "enclosure", "earthworks", "care"]
FRONT = {"run", "cli"}
LOOSE = {"__init__.py", "faults.py", "units.py"}


def modules_of(room):
    return sorted((SOURCE / room).rglob("*.py"))


def imported(tree):
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module


def module_of(file):
    """Name of the module in a file of ours."""
    return ".".join(("packpale", *file.relative_to(SOURCE).with_suffix("").parts)).removesuffix(".__init__")


@functools.cache
def our_modules():
    return frozenset(module_of(file) for file in SOURCE.rglob("*.py"))


@functools.cache
def ours_imported(module):
    """Modules of ours that one of ours imports, whether by their own names or out of their folders."""
    file = SOURCE.joinpath(*module.split(".")[1:])
    tree = ast.parse((file / "__init__.py" if file.is_dir() else file.with_suffix(".py")).read_text(encoding="utf-8"))
    names = {n for n in imported(tree) if n.split(".")[0] == "packpale"}
    names |= {f"{n.module}.{a.name}" for n in ast.walk(tree) if isinstance(n, ast.ImportFrom) for a in n.names}
    return names & our_modules()


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_knows_only_the_rooms_before_it(room):
    files = modules_of(room)
    assert files
    later = set(ROOMS[ROOMS.index(room) + 1 :]) | FRONT
    for file in files:
        for name in imported(ast.parse(file.read_text(encoding="utf-8"))):
            parts = name.split(".")
            assert not (parts[0] == "packpale" and len(parts) > 1 and parts[1] in later), f"{file.name} imports {name}"


RENDERERS = ("pages", "pdf", "maps", "drawings", "survey", "workbook", "layers")
"""Folders of review, one for each thing that a reader holds."""


@pytest.mark.parametrize("renderer", RENDERERS)
def test_no_renderer_knows_another(renderer):
    """Nor does it by way of anything else in review."""
    others = tuple(f"packpale.review.{name}." for name in RENDERERS if name != renderer)
    left = [module_of(file) for file in modules_of(f"review/{renderer}")]
    assert left
    seen = set()
    while left:
        module = left.pop()
        if module not in seen:
            seen.add(module)
            assert not f"{module}.".startswith(others), f"{renderer} imports {module}"
            left += [name for name in ours_imported(module) if name.startswith("packpale.review.")]


@pytest.mark.parametrize("base", ["report", "words", "subjects"])
def test_what_is_told_does_not_know_who_shows_it(base):
    shown_by = tuple(f"packpale.review.{name}." for name in RENDERERS)
    for file in modules_of(f"review/{base}"):
        names = imported(ast.parse(file.read_text(encoding="utf-8")))
        assert not [n for n in names if f"{n}.".startswith(shown_by)], file.name


def test_run_knows_nothing_of_the_commands():
    for file in modules_of("run"):
        names = list(imported(ast.parse(file.read_text(encoding="utf-8"))))
        assert not [n for n in names if n.startswith("packpale.cli")], file.name


def test_no_module_lies_loose_beside_the_rooms():
    assert {f.name for f in SOURCE.glob("*.py")} == LOOSE


def test_no_inside_of_a_library_is_used():
    """Names with an underscore may change or vanish with any version of a library."""
    for file in SOURCE.rglob("*.py"):
        tree = ast.parse(file.read_text(encoding="utf-8"))
        ours = [n for n in imported(tree) if n.split(".")[0] != "packpale"]
        inside = [n for n in ours if any(part.startswith("_") and part != "__future__" for part in n.split("."))]
        inside += [n for n in ours if n.startswith(("numba.core", "ctypes", "signal._"))]
        if file.name == "cache_key.py":
            inside.remove("_typeshed")  # of the type checker, for annotations
        assert not inside, f"{file.name}: {inside}"


@pytest.mark.parametrize("room", COMPUTING)
def test_a_computing_room_opens_no_file_and_says_nothing(room):
    for file in modules_of(room):
        tree = ast.parse(file.read_text(encoding="utf-8"))
        assert not set(imported(tree)) & {"logging", "pathlib", "rasterio.io", "fiona", "geopandas", "pyogrio", "os"}
        calls = {n.func.id for n in ast.walk(tree) if isinstance(n, ast.Call) and isinstance(n.func, ast.Name)}
        assert not calls & {"open", "print"}, file.name
        assert not any(isinstance(n, ast.Assert) for n in ast.walk(tree)), file.name


def test_help_imports_no_heavy_library():
    heavy = ["numpy", "numba", "geopandas", "rasterio", "shapely", "folium", "matplotlib", "pydantic"]
    script = f"import sys, packpale.cli; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_every_file_beside_the_code_is_packed():
    declared = tomllib.loads((SOURCE.parents[1] / "pyproject.toml").read_text(encoding="utf-8"))
    patterns = declared["tool"]["setuptools"]["package-data"]["packpale"]
    packed = {file for pattern in patterns for file in SOURCE.glob(pattern)}
    beside = {f for f in SOURCE.rglob("*") if f.is_file() and f.suffix != ".py" and "__pycache__" not in f.parts}
    assert beside
    assert beside <= packed, sorted(beside - packed)


def test_compiled_loops_call_those_of_their_own_file_only():
    """Numba looks at the file of a kernel alone when it decides whether what it compiled earlier still holds."""
    files = sorted(SOURCE.rglob("_kernels*.py"))
    assert files
    for file in files:
        for name in imported(ast.parse(file.read_text(encoding="utf-8"))):
            allowed = {"packpale.site.grid"}
            assert name.split(".")[0] != "packpale" or name in allowed, f"{file.name} imports {name}"
