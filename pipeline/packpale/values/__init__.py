"""Register of default values: number, unit, source and status of every figure the settings start from."""

from packpale.values.register import DefaultValue, default, register
from packpale.values.table import STATUSES

__all__ = ["STATUSES", "DefaultValue", "default", "register"]
