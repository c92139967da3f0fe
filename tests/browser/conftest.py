"""Tests that need a browser: collected only where .ci/browser has one ready and says where axe-core is."""

import os

collect_ignore_glob = [] if os.environ.get("AXE_JS") else ["test_*.py"]
