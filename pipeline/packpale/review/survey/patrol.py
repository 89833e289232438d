"""patrol.gpx (GPX 1.1): the rounds along the fences as closed tracks, their check points as numbered waypoints."""

from pathlib import Path

import numpy as np

from packpale.review.model import PlotResult
from packpale.review.survey.gpx import gpx_document
from packpale.review.survey.xml_file import child, children, write


def write_patrol(result: PlotResult, path: Path) -> None:
    """Write the rounds of a plot for satellite receivers, in WGS 84."""
    walks = result.care.rounds if result.care else ()
    gpx, writer = gpx_document(f"Rounds along the fences of plot {result.site.plot_id}", result)
    for walk in walks:
        x, y = np.array([c.x for c in walk.checks]), np.array([c.y for c in walk.checks])
        for check, point in zip(walk.checks, writer.add(gpx, "wpt", x, y), strict=True):
            what = f"Pack {walk.pack}, check point {check.number}: {check.mark.what}"
            children(point, {"name": f"{walk.pack}-{check.number}", "desc": what, "type": check.mark.kind})
    for walk in walks:
        track = child(gpx, "trk")
        child(track, "name", f"Round along the fence of pack {walk.pack}")
        writer.add(child(track, "trkseg"), "trkpt", *walk.path.T)
    write(gpx, path)
