"""`python -m runpredict`."""

import sys

from runpredict.commands.main import main

sys.exit(main())
