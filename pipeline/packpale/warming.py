"""What workers do before their first plot: load the rooms and, on a first run, compile the kernels once for all.

Compiled code is kept on disk, so a later run finds it there. On the first run every worker would compile the same
kernels at the same time; here each is compiled by one worker, several workers at a time, and the others load it.
"""

import gc
from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Any

from packpale.free_memory import look_past_what_stays, search_seldom

KERNELS: Mapping[str, Mapping[str, str]] = {
    "trench": {
        "earthworks._kernels.follow_sections": "(f8[:,:,::1], f8, f8[::1], f8[::1], f8[::1], f8[::1], f8[:,::1],"
        " b1[:,::1], f8[:,::1], f8[::1], f8[::1], f8, f8, f8, f8[:,::1], f8[:,::1])",
    },
    "sight": {
        "care._kernels_viewing.peaks_of_rows": "(f8[:,::1], i8, f8[::1], i8[:,::1])",
        "care._kernels_viewing.peaks_of_larger": "(f8[::1], i8[:,::1])",
        "care._kernels_viewing.sweep": "(f8[:,::1], f8[::1], i8[:,::1], b1[:,::1], f8, f8, f8, f8, f8, b1[:,::1])",
    },
    "digging out": {
        "care._kernels.shortest_tunnels": "(f8[::1], f8[:,::1], f8[::1], f8[:,::1], f8[:,::1], f8[:,::1],"
        " f8[::1], b1[::1], f8[::1])",
    },
    "distances": {
        "land._kernels_distance.nearest_segment": "(f8[::1], f8[::1], f8[:,::1], i8, i8[::1], f8[::1], f8[:,::1])",
        "land._kernels_cells.mark_within": "(f8[:,::1], i8[::1], i8, b1[:,::1], b1[:,::1])",
    },
    "chances": {
        "care._kernels_crossings.longest_path": "(i1[:,::1], i8, i8, i8[::1], f8[::1])",
        "earthworks._kernels_uncertainty.drawn_volumes": "(f8[:,::1], f8[:,::1], f8[:,::1], f8[::1], i8[::1],"
        " f8[:,::1], f8[:,:,::1], f8[:,:,::1], f8[:,:,::1], f8, f8, f8, f8, f8[:,:,::1], f8[:,:,::1], f8[:,::1])",
        "care._kernels_howl.tight_ways": "(f8[::1], f8[::1], f8, i8[::1], f8[::1], f8[::1], f8[::1], f8[::1], f8[::1],"
        " f8[::1], f8[::1])",
    },
}
"""Kernels that the plots of most runs call, part by part, each with the arguments it is called with."""

ROOMS = (
    "one_plot",
    "site.inputs",
    "land.assess",
    "land.routing",
    "land._kernels",
    "land._kernels_cells",
    "land._kernels_distance",
    "enclosure.place",
    "enclosure.packs",
    "enclosure.best_place",
    "enclosure.proven",
    "earthworks.work_out",
    "earthworks._kernels",
    "earthworks._kernels_profile",
    "earthworks._kernels_uncertainty",
    "care.assess",
    "care._kernels",
    "care._kernels_crossings",
    "review.plot",
)
"""Of the program: the doors of the rooms, and what stands behind imports within functions."""
LIBRARIES = (
    "folium",
    "fontTools.pens.svgPathPen",
    "matplotlib.figure",
    "matplotlib.backends.backend_agg",
    "numba.core.optional",
    "numba.cpython.mathimpl",
    "PIL.features",
    "rasterio.features",
    "rasterio.shutil",
    "rasterio.warp",
    "typst",
    "xstatic.pkg.leaflet",
)
"""Those that the program loads only where they are used."""


def load_rooms() -> None:
    """Load what plots need of the program and of libraries, so that no worker has to load it for itself."""
    search_seldom()
    for room in ROOMS:
        import_module(f"packpale.{room}")
    for library in LIBRARIES:
        import_module(library)
    from packpale.review.lettering import load_font

    load_font()


def parts_to_compile() -> list[str]:
    """Names of the parts that a worker would have to compile now, the longest first."""
    from packpale.enclosure import _kernels as fit
    from packpale.enclosure.proof import _kernels as proof
    from packpale.land import _kernels_drainage as flow

    last_compiled = {"proof": proof.search, "fit": fit.refine, "land": flow.height_above}
    last_compiled |= {part: kernel_named(list(kernels)[-1]) for part, kernels in KERNELS.items()}
    return [name for name, kernel in last_compiled.items() if is_cold(kernel)]


def kernel_named(name: str) -> Any:
    """The compiled function of a name such as KERNELS has."""
    module, _, kernel = name.rpartition(".")
    return getattr(import_module(f"packpale.{module}"), kernel)


def is_cold(kernel: Any) -> bool:
    """Whether no compiled code of a kernel is kept on disk; False where the compiler does not tell."""
    try:
        return not kernel._cache._cache_file._load_index()
    except (AttributeError, OSError):
        return False


def warm(part: str) -> None:
    """Compile one of ``parts_to_compile``: by working through a small case, or for the arguments that KERNELS has."""
    # The compiler makes very many objects and lets none go: looking through them costs more than it frees.
    collecting = gc.isenabled()
    gc.disable()
    try:
        if part in _PARTS:
            _PARTS[part]()
        else:
            for name, arguments in KERNELS[part].items():
                compile_for(kernel_named(name), arguments)
    finally:
        look_past_what_stays()
        if collecting:
            gc.enable()


def compile_for(kernel: Any, arguments: str) -> None:
    """Compile a kernel for arguments such as KERNELS has, and keep it where a call with such arguments looks for it."""
    from numba.core.sigutils import normalize_signature

    types, _ = normalize_signature(arguments)  # type: ignore[no-untyped-call]
    # Given the text itself, numba would keep the code under the text, where no call looks for it.
    kernel.compile(tuple(types))


def _fit() -> None:
    from packpale.enclosure.fit import fit_largest

    fit_largest(_small_land(), **_ranges())


def _proof() -> None:
    from packpale.enclosure.proof import area_bound

    land = _small_land()
    # An area that cannot be reached ends the search at once.
    area_bound(land, best_area=land.area / 2, tolerance=0.5, **_ranges())


def _land() -> None:
    import numpy as np

    from packpale.land.drainage import drainage
    from packpale.land.slope import aspect_deg, hillshade, slope

    z = np.add.outer(np.arange(8.0), np.arange(8.0))
    ground_slope = slope(z, cell_size=(1.0, 1.0))
    drainage(z, ground_slope, cell=1.0, channel_area=4.0)
    aspect_deg(z, cell_size=(1.0, 1.0))
    hillshade(z, cell_size=(1.0, 1.0))


def _small_land() -> Any:
    from shapely.geometry import MultiPolygon, Polygon

    return MultiPolygon([Polygon([(0, 0), (120, 0), (120, 70), (70, 70), (70, 130), (0, 130)])])


def _ranges() -> dict[str, Any]:
    return {"clearance": 3.0, "taper": (0.5, 0.9), "aspect": (1.1, 1.6), "min_radius": 5.0}


_PARTS: Mapping[str, Callable[[], None]] = {"proof": _proof, "fit": _fit, "land": _land}
