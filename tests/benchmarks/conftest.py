"""The benchmarks are scripts beside each other: they find one another as when run by hand."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
