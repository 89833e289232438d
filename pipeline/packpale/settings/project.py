"""The whole settings file, and what its sections ask of one another."""

from collections.abc import Mapping
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from packpale.settings.base import PRINTABLE, Settings
from packpale.settings.care import (
    CheckSettings,
    CrossingSettings,
    DenSettings,
    HowlSettings,
    NeighbourSettings,
    PackSettings,
    PatrolSettings,
    ViewingSettings,
)
from packpale.settings.columns import TheirColumn
from packpale.settings.earthworks import (
    BulkingSettings,
    OwnRates,
    PlantSettings,
    ProgrammeSettings,
    TrenchSettings,
    UncertaintySettings,
)
from packpale.settings.enclosure import EnclosureSettings, FenceSettings, GateSettings, MeshSettings, SettingOutSettings
from packpale.settings.ground import FEATURE_KINDS, InputSettings, SoilSettings
from packpale.settings.land import CRITERION_NEEDS, KEEP_AWAY_KINDS, LandSettings
from packpale.settings.results import DrawingSettings, MapSettings, RankingSettings, RunSettings
from packpale.values import default


class Project(Settings):
    """A whole settings file."""

    title: Annotated[str, Field(min_length=1, max_length=200), PRINTABLE] = "Untitled"
    """Shown at the top of every page."""
    crs: str | None = None
    """Projected CRS in metres for all computing, such as "EPSG:25832".

    Without it that of the elevations, if it is one and true to length at the plots, else the plots' UTM zone.
    """
    currency: Annotated[str, Field(min_length=1, max_length=8), PRINTABLE] = default("currency")
    """Currency of the rates, as shown."""
    units: Literal["metric", "imperial"] = default("units")
    """Units shown on pages; files are always metric."""
    inputs: InputSettings
    soil: SoilSettings = SoilSettings()
    land: LandSettings = LandSettings()
    enclosure: EnclosureSettings = EnclosureSettings()
    fence: FenceSettings = FenceSettings()
    gates: GateSettings = GateSettings()
    mesh: MeshSettings = MeshSettings()
    trench: TrenchSettings = TrenchSettings()
    setting_out: SettingOutSettings = SettingOutSettings()
    bulking: BulkingSettings = BulkingSettings()
    rates: OwnRates = OwnRates()
    plant: PlantSettings = PlantSettings()
    programme: ProgrammeSettings = ProgrammeSettings()
    uncertainty: UncertaintySettings = UncertaintySettings()
    pack: PackSettings = PackSettings()
    checks: CheckSettings = CheckSettings()
    patrol: PatrolSettings = PatrolSettings()
    howl: HowlSettings = HowlSettings()
    crossings: CrossingSettings = CrossingSettings()
    dens: DenSettings = DenSettings()
    viewing: ViewingSettings = ViewingSettings()
    neighbours: NeighbourSettings = NeighbourSettings()
    ranking: RankingSettings = RankingSettings()
    drawings: DrawingSettings = DrawingSettings()
    maps: MapSettings = MapSettings()
    run: RunSettings = RunSettings()

    @model_validator(mode="after")
    def _every_setting_has_an_effect(self) -> Self:
        for kind in self.land.keep_away_m:
            if getattr(self.inputs, kind) is None:
                raise ValueError(
                    f"land.keep_away_m.{kind} has no effect without inputs.{kind}; give the file or drop the key"
                )
        mapped: dict[str, tuple[str, Mapping[Any, TheirColumn]]] = {"soil": ("soil_columns", self.inputs.soil_columns)}
        mapped |= {name: (f"columns.{name}", of) for name, of in self.inputs.columns.items()}
        for name, (key, columns) in mapped.items():
            if columns and getattr(self.inputs, name) is None:
                raise ValueError(f"inputs.{key} has no effect without inputs.{name}; give the file or drop the key")
        if self.soil.pit_range_m != default("soil.pit_range_m") and self.inputs.pits is None:
            raise ValueError("soil.pit_range_m has no effect without inputs.pits; give the file or drop the key")
        near = (self.inputs.woodland, self.inputs.trees_and_boulders)
        if self.checks.tree_distance_m != default("checks.tree_distance_m") and near == (None, None):
            raise ValueError(
                "checks.tree_distance_m has no effect without inputs.woodland or inputs.trees_and_boulders; give a "
                "file or drop the key"
            )
        named = {*(self.land.weights or {}), *(self.land.pairwise or {})}
        for criterion in sorted(named & CRITERION_NEEDS.keys()):
            if getattr(self.inputs, CRITERION_NEEDS[criterion]) is None:
                raise ValueError(
                    f"the criterion {criterion!r} needs inputs.{CRITERION_NEEDS[criterion]}; "
                    "give the file or drop the criterion"
                )
        return self

    def keep_away(self) -> dict[str, float]:
        """Distance to keep from every kind of input that is given and keeps the fence away. [m]"""
        named = self.land.keep_away_m
        kinds = [
            k for k in FEATURE_KINDS if k in named or (k in KEEP_AWAY_KINDS and getattr(self.inputs, k) is not None)
        ]
        return {k: named[k] if k in named else default(f"land.keep_away_m.{k}") for k in kinds}
