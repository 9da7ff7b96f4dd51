"""How firmly two laid shapes hold one another: which motions the pairs would not notice.

The normal matrix of the point-to-plane fit tells how a shape may slide: Gelfand N et al. 2003 3DIM 260-267. (From
memory.)
"""

from __future__ import annotations

import numpy as np

from mesh_tools.registration.trimmed import Pairing, normal_matrix

_FREE = 1e-9


def slack(pairing: Pairing) -> float:
    """Largest displacement of any sample per unit of residual, over the motions the pairs resist least.

    A residual of rms e at n independent pairs leaves a sample uncertain by about slack * e / sqrt(n). A sphere on
    itself gives hundreds, a tooth about ten.
    """
    normal, middle, radius = normal_matrix(pairing)
    values, ways = np.linalg.eigh(normal[0])
    spread = ways / np.sqrt(np.maximum(values, _FREE))
    arm = (pairing.moved_mm[0, ::10] - middle[0]) / radius[0]
    moves = np.cross(spread[:3].T[:, None], arm[None]) + spread[3:].T[:, None]
    return float(np.sqrt((moves**2).sum(axis=(0, 2)).max()))
