"""The whole car: budget of parts and interactions, platform loop, the map."""
