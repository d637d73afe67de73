"""`python -m bridge` is `hembar`."""

import sys

from bridge.cli.main import main

sys.exit(main())
