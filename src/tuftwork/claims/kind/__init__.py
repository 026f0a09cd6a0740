"""One module per kind of claim."""
