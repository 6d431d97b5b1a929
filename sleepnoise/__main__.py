"""``python -m sleepnoise``: the command line."""

from sleepnoise.cli import main

if __name__ == "__main__":
    main()
