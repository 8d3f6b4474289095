"""Arrays: how precisely beliefs are kept.

Knows: two kinds of numbers.
Refuses to know: what they stand for.
How: what was fitted, and whatever is multiplied with it, is kept in single precision, a belief that
is carried from beat to beat in double.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Singles = NDArray[np.float32]
Doubles = NDArray[np.float64]
