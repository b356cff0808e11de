"""So that ``python -m pumplife`` is the command line."""

import sys

from pumplife.cli import main

sys.exit(main())
