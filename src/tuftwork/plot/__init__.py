"""Figures: a result goes in, axes or a figure come out; nothing is shown or saved here."""

from pathlib import Path

FONTS = Path(__file__).parent / "fonts"
"""Folder of the typefaces that figures and documents are set in (open licence beside them)."""

__all__ = ["FONTS"]
