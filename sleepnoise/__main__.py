"""``python -m sleepnoise``: the command line."""

from sleepnoise.cli.program import main

if __name__ == "__main__":
    main()
