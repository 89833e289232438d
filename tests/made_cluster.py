"""A Dask cluster of this machine, each part a process of its own as on a real one."""

import json
import subprocess
import sys
import time


class Machine:
    """A scheduler and two workers, each a process of its own as on a real cluster."""

    def __init__(self, folder):
        self.file = folder / "scheduler.json"
        self.folder = folder
        self.scheduler = self.start("dask_scheduler", "--port", "0")
        self.workers = [self.start("dask_worker", "--nthreads", "2", "--no-nanny") for _ in range(2)]
        try:
            wait_until(self.found)
        except BaseException:
            self.stop()
            raise
        self.address = self.found()

    def found(self):
        """The scheduler's address; None while its file is missing or still being written."""
        try:
            return json.loads(self.file.read_text(encoding="utf-8"))["address"]
        except (FileNotFoundError, json.JSONDecodeError):
            return None

    def start(self, which, *options):
        command = [sys.executable, "-m", f"distributed.cli.{which}", "--scheduler-file", str(self.file), *options]
        return subprocess.Popen(
            [*command, "--host", "127.0.0.1", "--no-dashboard"],
            cwd=self.folder,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )

    def stop(self):
        for process in [*self.workers, self.scheduler]:
            process.kill()
            process.wait()


def wait_until(true, seconds=60):
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.02)
