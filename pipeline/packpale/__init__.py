"""Packpale: terrain and candidate plots in; scored land, an egg-shaped fence line and a priced dig-proof trench out."""

from importlib.metadata import version

__version__ = version("packpale")
