"""Names of steps that more than one module of the study asks for."""

TABLES, FLOOR_TABLES, FRONT_TABLES = "wing tables", "floor tables", "front tables"
"""Steps that work out the tables of wings that name their section, and of floors and splitters
with a channel, where there are any."""
FLOOR_SWEEPS = "floor sweeps"
"""Step that ties floors to the ride-height sweeps they name, where there are any."""
GRIP = "grip from circles"
"""Step that ties the tyres to skid pads and corners, where there are any."""
