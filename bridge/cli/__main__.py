"""`python -m bridge.cli` is `hembar`."""

import sys

from bridge.cli.main import main

sys.exit(main())
