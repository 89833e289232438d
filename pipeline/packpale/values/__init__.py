"""Register of default values: number, unit, source and status of every figure the settings start from."""

from packpale.values.register import STATUSES, DefaultValue, default, register

__all__ = ["STATUSES", "DefaultValue", "default", "register"]
