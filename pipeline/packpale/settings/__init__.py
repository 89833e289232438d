"""The settings file: a model of each section, by room of the house, and reading it."""

from packpale.settings.base import Settings
from packpale.settings.care import (
    DEN_CRITERIA,
    CheckSettings,
    CrossingSettings,
    DenSettings,
    Gap,
    HowlSettings,
    PatrolSettings,
    ViewingSettings,
)
from packpale.settings.earthworks import (
    BulkingSettings,
    OwnRates,
    PlantSettings,
    ProgrammeSettings,
    Quote,
    RateSettings,
    TrenchSettings,
)
from packpale.settings.enclosure import EnclosureSettings, FenceSettings, GateSettings, MeshSettings, SettingOutSettings
from packpale.settings.ground import DRAINAGE_CLASSES, FEATURE_KINDS, SoilSettings
from packpale.settings.land import CRITERIA, CRITERION_NEEDS, LandSettings
from packpale.settings.project import Project
from packpale.settings.reading import fault_lines, read_settings
from packpale.settings.results import RANKING_CRITERIA, MapSettings, RankingCriterion

__all__ = [
    "CRITERIA",
    "CRITERION_NEEDS",
    "DEN_CRITERIA",
    "DRAINAGE_CLASSES",
    "FEATURE_KINDS",
    "RANKING_CRITERIA",
    "BulkingSettings",
    "CheckSettings",
    "CrossingSettings",
    "DenSettings",
    "EnclosureSettings",
    "FenceSettings",
    "Gap",
    "GateSettings",
    "HowlSettings",
    "LandSettings",
    "MapSettings",
    "MeshSettings",
    "OwnRates",
    "PatrolSettings",
    "PlantSettings",
    "ProgrammeSettings",
    "Project",
    "Quote",
    "RankingCriterion",
    "RateSettings",
    "SettingOutSettings",
    "Settings",
    "SoilSettings",
    "TrenchSettings",
    "ViewingSettings",
    "fault_lines",
    "read_settings",
]
