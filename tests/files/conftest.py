"""Where the tests of recordings find their own writer of FIT files."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
