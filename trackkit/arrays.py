"""The types of arrays that everybody uses."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

Bytes = NDArray[np.uint8]
Indices = NDArray[np.intp]
Flags = NDArray[np.bool_]
