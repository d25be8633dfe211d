"""Names of the arrays that functions take and return."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]
Float32s: TypeAlias = NDArray[np.float32]
Indices: TypeAlias = NDArray[np.intp]
Bools: TypeAlias = NDArray[np.bool_]
Objects: TypeAlias = NDArray[np.object_]
AnyArray: TypeAlias = NDArray[Any]
