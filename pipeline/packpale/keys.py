"""What stands for everything that results depend on: of a whole run, and of one plot by what is read for it."""

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path

from packpale import __version__
from packpale.settings import Project
from packpale.site.digest import digest
from packpale.site.model import Site


def settings_hash(project: Project) -> str:
    # Without the paths: the same settings on another machine are the same settings.
    return hashlib.sha256(_without_paths(project).encode()).hexdigest()


def shown_settings(project: Project) -> dict[str, object]:
    """Every value the run used, defaults included, without the paths of this machine."""
    values: dict[str, object] = project.model_dump(mode="json", exclude={"inputs": True, "enclosure": {"fence_line"}})
    return values


def _without_paths(project: Project) -> str:
    # That a fence line is given counts; where its file lies does not. Nor does the memory that a run may take.
    settings = project.model_dump_json(exclude={"inputs": True, "enclosure": {"fence_line"}, "run": {"memory_mb"}})
    return settings if project.enclosure.fence_line is None else settings + " fence_line"


def run_key(project: Project, hashes: Mapping[str, str]) -> str:
    """Stands for everything that a plot's files depend on but its id."""
    text = json.dumps([__version__, _without_paths(project), sorted(hashes.items())])
    names = project.inputs.model_dump(include={"elevation_unit", "plots_layer", "plot_id"})
    return hashlib.sha256((text + json.dumps(names, sort_keys=True)).encode()).hexdigest()


def plot_key(project: Project, site: Site) -> str:
    """Stands for all that a plot's files depend on, inputs by what is read of them; a Site tells which were given."""
    text = json.dumps([__version__, _without_paths(project), digest(site)])
    return hashlib.sha256(text.encode()).hexdigest()


def file_hash(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
