"""Pictures of what the rules saw, drawn without a browser."""

from __future__ import annotations

from rules.pictures.evidence import Trace, evidence_png

__all__ = ["Trace", "evidence_png"]
