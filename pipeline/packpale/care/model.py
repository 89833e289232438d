"""What decides whether the pack stays in and is well."""

from dataclasses import dataclass

from packpale.site import Array


@dataclass(frozen=True)
class DigOut:
    """Shortest way under the mesh of one pack's fence; arrays of shape (stations,)."""

    pack: int
    tunnel: Array
    """Length of the shortest tunnel from inside to outside ground at each station. [m]"""
    weakest_chainage: float
    """[m]"""
    shortest: float
    """[m]"""
    dig_rate: float
    """Digging rate that would beat the unattended hours at the weakest station. [m/h]"""


@dataclass(frozen=True)
class Care:
    """One dig-out result for each pack."""

    unattended_h: float
    dig_out: tuple[DigOut, ...]
    notes: tuple[str, ...] = ()

    @property
    def escape_dig_rate(self) -> float | None:
        """Lowest of the packs' rates; None without packs. [m/h]"""
        return min((d.dig_rate for d in self.dig_out), default=None)
