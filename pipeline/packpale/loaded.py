"""Importing this loads what plots need: the process that workers are forked from does so, and then waits."""

from packpale.free_memory import look_past_what_stays
from packpale.warming import load_rooms

load_rooms()
# Kept apart, it is not written to in each worker when that looks for waste, and stays shared.
look_past_what_stays()
