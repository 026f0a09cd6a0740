"""Figures: a result goes in, axes or a figure come out; nothing is shown or saved here."""
