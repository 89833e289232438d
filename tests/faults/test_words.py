"""How trouble with files and memory is said: where, what was being done, what to do."""

import errno
from pathlib import Path

import numpy as np
import pytest

from packpale.faults import LESS_MEMORY, Faults, doing, in_words


def test_trouble_with_memory_and_disk_is_said_with_what_to_do():
    with pytest.raises(MemoryError) as memory:
        np.empty(1 << 50)
    assert in_words(memory.value) == (
        "not enough memory (Unable to allocate 8.00 PiB for an array with shape (1125899906842624,) and data type "
        "float64); use fewer --workers, a smaller land.margin_m, or a larger land.cell_m"
    )
    for said in (OSError(12, "Cannot allocate memory", "dem.tif"), RuntimeError("can't start new thread")):
        assert in_words(said) == f"not enough memory ({said}); {LESS_MEMORY}"
    broken = Faults("dem.tif: cannot be read to its end; supply a whole file")
    broken.__cause__ = ValueError("VSIMalloc3(): Out of memory allocating 4096 bytes")
    assert in_words(broken) == f"not enough memory ({broken}); {LESS_MEMORY}"
    # A name in an input is no lack of memory.
    assert in_words(Faults("out of memory.tif: is no raster")) == "out of memory.tif: is no raster"
    assert in_words(ImportError("x.so: failed to map segment from shared object: Operation not permitted")) == (
        "ImportError: x.so: failed to map segment from shared object: Operation not permitted"
    )


def test_a_full_disk_is_told_with_the_folder_and_what_was_being_done():
    with (
        pytest.raises(Faults) as full,
        doing("writing the run's files", "/land/out"),
        Path("/dev/full").open("w") as file,
    ):
        file.write("x")
    assert str(full.value) == (
        "/land/out: No space left on device while writing the run's files; "
        "make room and start the same command again, it goes on where it was"
    )


def test_advice_is_given_only_where_it_fits():
    def told(what, number, text):
        with pytest.raises(Faults) as error, doing(what):
            raise OSError(number, text, "dem.tif")
        return str(error.value)

    assert told("reading the inputs", errno.EACCES, "Permission denied") == (
        "dem.tif: Permission denied while reading the inputs; allow reading it"
    )
    assert told("writing the settings file", errno.EROFS, "Read-only file system") == (
        "dem.tif: Read-only file system while writing the settings file; allow writing there, or choose another folder"
    )
    assert told("reading the inputs", errno.EIO, "Input/output error") == (
        "dem.tif: Input/output error while reading the inputs"
    )
    assert "ulimit -n" in told("reading the inputs", errno.EMFILE, "Too many open files")


def test_lack_of_memory_passes_as_such():
    with pytest.raises(OSError, match="allocate"), doing("reading the inputs"):
        raise OSError(errno.ENOMEM, "Cannot allocate memory")
