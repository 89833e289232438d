"""The command line in this process, on a folder of made inputs."""

import pytest

from packpale.cli import commands


@pytest.fixture
def command(capsys):
    """Run a command as a user would: exit status, lines on stderr, text on stdout."""

    def run(*words):
        capsys.readouterr()
        try:
            commands.main([str(w) for w in words], prog_name="packpale")
            status = 0
        except SystemExit as end:
            status = int(end.code or 0)
        said = capsys.readouterr()
        return status, said.err.splitlines(), said.out

    return run
