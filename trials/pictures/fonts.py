"""Where the letters of pictures and pages come from, so that both look the same on every computer."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import matplotlib

FONTS: Final = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
"""Folder with DejaVu Sans, which covers Latin, Greek and Cyrillic."""
