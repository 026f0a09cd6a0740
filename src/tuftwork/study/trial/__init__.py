"""Test days in the study: read, looked through, reduced, held against the model."""
