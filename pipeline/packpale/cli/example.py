"""A small invented example with its data, so that an installed package can be tried."""

from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

from packpale.cli.check import next_command
from packpale.cli.messages import FIRST_SETTINGS
from packpale.cli.start import Started, Wishes, start
from packpale.faults import Faults, doing

OTHERS = ("watercourses", "services", "access")
SOIL_COLUMNS = ("depth_to_rock_m=ROCK_CM:cm", "water_table_m=WATER_CM:cm")


def write_example(folder: Path) -> Started:
    """Copy the data of the example into a folder and start from them, as a user would.

    Raises Faults, and writes nothing, if one of the files is there already.
    """
    data = {file.name: file for file in files(__package__).joinpath("example").iterdir() if file.name[0] not in "._"}
    there = [name for name in (FIRST_SETTINGS, *sorted(data)) if (folder / name).exists()]
    if there:
        raise Faults(*[f"{folder / name}: exists and is not overwritten; choose another folder" for name in there])
    with doing("writing the example", folder):
        folder.mkdir(parents=True, exist_ok=True)
        for name, file in data.items():
            (folder / name).write_bytes(file.read_bytes())
    others = {kind: folder / f"{kind}.geojson" for kind in OTHERS}
    others |= {"soil": folder / "soil_map.geojson", "pits": folder / "pits.csv"}
    wishes = Wishes(title="Two fields: a made-up example", soil_columns=SOIL_COLUMNS)
    started = start(folder, [str(folder / "elevation.tif")], folder / "fields.geojson", others, wishes)
    return Started(started.settings, (*started.lines[:-1], *_last_lines(started.settings)))


def _last_lines(settings: Path) -> Iterator[str]:
    yield f"next: {next_command(settings)}"
