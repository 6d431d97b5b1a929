"""``python -m sleepnoise``: the command line."""

import signal


def main() -> None:
    """Run the command line; until it can answer for itself, an interrupt ends it without a word."""
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    from sleepnoise.cli.program import main as run

    run()


if __name__ == "__main__":
    main()
