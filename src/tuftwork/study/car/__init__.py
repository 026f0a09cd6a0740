"""The car as a system: interactions, states and devices, platform motion, leverage."""
