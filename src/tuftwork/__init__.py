"""Race-car aerodynamics with ranges: from a picture and a claim to the page the driver holds."""

__version__ = "0.1.0"
