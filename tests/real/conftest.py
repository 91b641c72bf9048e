"""Tests of this folder share the scores that a person prints from the command line."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
