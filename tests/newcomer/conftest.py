"""Lets the tests of this folder import the book it makes."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
