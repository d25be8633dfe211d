"""The logbook's commands alone, as a process that can be killed."""

import argparse
import sys
import warnings

from runpredict.commands.logbook import add_commands
from runpredict.errors import BadInput, TableWarning


def run(argv):
    parser = argparse.ArgumentParser(prog="runpredict")
    add_commands(parser.add_subparsers(required=True))
    args = parser.parse_args([str(word) for word in argv])
    warnings.simplefilter("ignore", TableWarning)
    try:
        return args.run(args)
    except BadInput as bad:
        print(bad, file=sys.stderr)
        return 2


if __name__ == "__main__":
    sys.exit(run(sys.argv[1:]))
