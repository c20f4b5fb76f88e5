"""`python -m meterlog` is the `meterlog` command."""

import sys

from meterlog.cli import main

sys.exit(main())
