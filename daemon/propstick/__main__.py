"""`python -m propstick` is `propstick`."""

import sys

from propstick.app.cli import main

sys.exit(main())
