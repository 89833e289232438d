"""``python -m packpale.cli`` is the command ``packpale``."""

from packpale.cli.commands import main

if __name__ == "__main__":
    main()
