"""The logbook's commands alone, as a process that can be killed."""

import argparse
import sys
import warnings

from runpredict.commands import logbook, record
from runpredict.errors import BadInput, TableWarning


def run(argv):
    parser = argparse.ArgumentParser(prog="runpredict")
    commands = parser.add_subparsers(required=True)
    logbook.add_commands(commands)
    record.add_commands(commands)
    args = parser.parse_args([str(word) for word in argv])
    warnings.simplefilter("ignore", TableWarning)
    try:
        return args.run(args)
    except BadInput as bad:
        print(bad, file=sys.stderr)
        return 2


if __name__ == "__main__":
    sys.exit(run(sys.argv[1:]))
