"""Circuits, the car, the quasi-steady lap and what aero is worth on it."""
