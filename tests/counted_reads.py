"""A raster opened so that every read of one of its blocks is counted."""

from collections import Counter

import rasterio

from packpale.site import raster_files


class CountedReads:
    """Stands in for the opening of rasters in ``packpale.site``: which blocks of a GeoTIFF were read, and how often."""

    def __init__(self, path, monkeypatch):
        with rasterio.open(path) as source:
            places = [(row, col) for (row, col), _ in source.block_windows(1)]
            self.blocks = {
                int(source.get_tag_item(f"BLOCK_OFFSET_{col}_{row}", "TIFF", bidx=1)): (row, col) for row, col in places
            }
        self.reads = Counter()
        monkeypatch.setattr(raster_files, "_opened", lambda path: rasterio.open(str(path), opener=self._open))
        self.as_new_worker()

    def _open(self, path, _mode="rb", **_):
        return _Watched(path, self)

    def as_new_worker(self):
        """Forget what is open, as a process that has read nothing yet, and what was counted."""
        raster_files.close_kept()
        self.reads.clear()


class _Watched:
    """A file whose reads are told; GDAL reads a block of a GeoTIFF from its first byte on."""

    def __init__(self, path, told):
        self._file = open(path, "rb")  # noqa: SIM115 - GDAL closes it
        self._told = told
        self.seek, self.tell, self.close = self._file.seek, self._file.tell, self._file.close

    def read(self, size=-1):
        block = self._told.blocks.get(self._file.tell())
        if block is not None:
            self._told.reads[block] += 1
        return self._file.read(size)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()
