"""`python -m runpredict`."""

import sys

from runpredict.cli import main

sys.exit(main())
