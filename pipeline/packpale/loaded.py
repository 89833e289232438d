"""Importing this loads what plots need: the process that workers are forked from does so, and then waits."""

import signal

from packpale.free_memory import look_past_what_stays
from packpale.warming import load_rooms

# A key that stops the run is for the run, which ends its workers: they are forked with this as it is.
signal.signal(signal.SIGINT, signal.SIG_IGN)
if hasattr(signal, "pthread_sigmask"):
    # It was started with the key waiting (``crew``).
    signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
load_rooms()
# Kept apart, it is not written to in each worker when that looks for waste, and stays shared.
look_past_what_stays()
