"""Made-up cells stand beside the tests that use them."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))  # for made_cells.py
