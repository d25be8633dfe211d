"""`runpredict`, and `python -m runpredict`."""

import sys


def main() -> int:
    """Run one command; stopped while it still loads, it ends in a sentence too."""
    try:
        from runpredict.commands.main import main as run  # noqa: PLC0415 - stopped here, it says so

        return run()
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
        return 2


if __name__ == "__main__":
    sys.exit(main())
