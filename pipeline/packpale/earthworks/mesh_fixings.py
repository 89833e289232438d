"""What fixes the mesh: ties on wires and posts, in laps, where fence and skirt join; pegs that hold the apron down."""

import math
from dataclasses import dataclass

from packpale.earthworks.mesh_rolls import across, pieces, strips
from packpale.settings import MeshSettings


@dataclass(frozen=True)
class Fixings:
    """Fixings of one pack's fence."""

    on_wires: int
    """Ties."""
    on_posts: int
    """Ties."""
    in_laps: int
    """Ties where mesh lies over mesh, the joint of fence and skirt left out."""
    in_joint: int
    """Ties where the skirt is fixed to the fence."""
    joint_length: float
    """Of that joint, gates left out. [m]"""
    anchors: int
    """Pegs that hold the apron down."""

    @property
    def ties(self) -> int:
        return self.on_wires + self.on_posts + self.in_laps + self.in_joint


def seams(length: float, width: float, mesh: MeshSettings, *, joint: bool) -> float:
    """Laps in mesh that covers ``length`` by ``width``, and ``joint`` with the next part; by their length. [m]

    Strips side by side lap along the whole length, pieces end to end over the whole width.
    """
    if not (width > 0 and length > 0):
        return 0.0
    whole, rest = strips(width, mesh, joint=joint)
    side_by_side = whole + (1 if rest > 0 else 0) - 1 + (1 if joint else 0)
    return side_by_side * length + pieces(length, mesh) * across(width, mesh, joint=joint)


def seams_per_m(width: float, mesh: MeshSettings, *, joint: bool) -> float:
    """The same for each metre of a long part, in the mean. [m/m]"""
    if not width > 0:
        return 0.0
    # As many pieces as make it long.
    many = 1000 * (mesh.roll_length_m - mesh.lap_m)
    return seams(many, width, mesh, joint=joint) / many


def how_many(length: float, spacing: float) -> int:
    """Fixings along a length, so far apart [m], the last part counted as one more."""
    return math.ceil(length / spacing - 1e-9)
