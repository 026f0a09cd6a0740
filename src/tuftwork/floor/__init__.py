"""The channel under the car: floor, diffuser and splitter."""
