"""Put the demo's generator on the path; it lives beside the data, not in the package."""

import sys
from pathlib import Path

DEMO = Path(__file__).resolve().parents[2] / "data" / "demo"
if str(DEMO) not in sys.path:
    sys.path.insert(0, str(DEMO))
