"""Importing this loads what plots need: the process that workers are forked from does so, and then waits."""

import signal

from packpale.free_memory import look_past_what_stays
from packpale.warming import load_rooms

# Whoever stops the run by a key is told so by the run; a process in the middle of loading would add a traceback.
_at_a_key = signal.signal(signal.SIGINT, signal.SIG_IGN)
if hasattr(signal, "pthread_sigmask"):
    # It was started with the key waiting (``crew``).
    signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
load_rooms()
# Kept apart, it is not written to in each worker when that looks for waste, and stays shared.
look_past_what_stays()
signal.signal(signal.SIGINT, _at_a_key)
