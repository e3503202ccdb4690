"""``python -m runner`` is the ``tripwitness`` command."""

import sys

from runner.cli import main

sys.exit(main())
