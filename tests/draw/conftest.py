"""The random circuits of the sheet's tests are drawn here too."""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parents[1] / "sheet"))
