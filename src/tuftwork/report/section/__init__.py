"""Sections of the client report, one per job: ``<name>.py`` gives data, ``<name>.typ`` sets it."""
