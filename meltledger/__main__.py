"""``python -m meltledger`` is the command line."""

from meltledger.cli import main

if __name__ == "__main__":
    main()
