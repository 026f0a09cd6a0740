"""Names for what a numeric argument may be."""

from typing import TypeAlias

import numpy as np
from jaxtyping import Float

Array: TypeAlias = Float[np.ndarray, "..."]
"""Floats of any shape."""

Numeric: TypeAlias = float | Float[np.ndarray, "..."]
"""One number, or an array of any shape; the answer has the same shape."""
