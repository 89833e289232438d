"""The kernels are tested as they run: compiled. Interpreted they pass all other tests, a thousand times slower."""

import inspect

import numba
import numpy as np
import pytest
from shapely.geometry import LineString, box

from packpale.land import _kernels, _kernels_cells, _kernels_degree, _kernels_distance, _kernels_drainage
from packpale.land.assess import assess
from packpale.land.slope import aspect_deg, hillshade

KERNELS = {
    f"{module.__name__.rsplit('.', 1)[1]}.{name}": kernel
    for module in (_kernels, _kernels_drainage, _kernels_distance, _kernels_cells, _kernels_degree)
    for name, kernel in vars(module).items()
    if name != "njit" and not name.startswith("_") and (hasattr(kernel, "py_func") or inspect.isfunction(kernel))
}


def test_compilation_is_on():
    assert not numba.config.DISABLE_JIT, "unset NUMBA_DISABLE_JIT"
    assert len(KERNELS) == 17


@pytest.mark.parametrize("name", KERNELS)
def test_kernel_runs_compiled(name, make_site, make_project):
    z = np.add.outer(np.arange(12.0), np.arange(12.0))
    site = make_site(z, features={"access": (LineString([(1000, 2000), (1012, 2000)]), box(1000, 2000, 1003, 2003))})
    assess(site, make_project("access", weights={"slope": 1, "access": 1}))
    aspect_deg(z, cell_size=(1.0, 1.0))
    hillshade(z, cell_size=(1.0, 1.0))
    assert KERNELS[name].nopython_signatures
