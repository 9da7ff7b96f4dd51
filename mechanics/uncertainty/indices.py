"""Variance-based ranking of the inputs: first and total indices, with their sampling error."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mesh_tools.arrays import Array

_RESAMPLES = 100


@dataclass(frozen=True)
class Index:
    """Share of the variance an input makes alone (``first``) and with all it acts with (``total``); standard errors."""

    first: float
    total: float
    first_error: float
    total_error: float


def sobol_index(base: Array, other: Array, mixed: Array, *, seed: int = 0) -> Index:
    """Index of one input (or group) from outputs (s,) or (s, k) at A, at B, and at A with the input's columns from B.

    First: Saltelli A et al. 2010 Comput Phys Commun 181:259-270; total: Jansen MJW 1999 Comput Phys Commun 117:35-43;
    several outputs together by summed variances (Gamboa F et al. 2014 Electron J Stat 8:575-603). All from memory.
    The errors are bootstrap standard errors. Where nothing varies, all are 0.
    """
    a, b, m = (np.asarray(v, dtype=np.float64).reshape(len(v), -1) for v in (base, other, mixed))
    middle = np.concatenate([a, b]).mean(axis=0)
    a, b, m = a - middle, b - middle, m - middle
    terms = np.stack([(b * (m - a)).sum(1), 0.5 * ((a - m) ** 2).sum(1), 0.5 * (a**2 + b**2).sum(1)], axis=1)
    if not terms[:, 2].mean() > 1e-24:
        return Index(0.0, 0.0, 0.0, 0.0)
    picks = np.random.default_rng(seed).integers(0, len(a), (_RESAMPLES, len(a)))
    drawn = terms[picks].mean(axis=1)
    errors = (drawn[:, :2] / drawn[:, 2:]).std(axis=0, ddof=1)
    first, total = (terms.mean(axis=0)[:2] / terms.mean(axis=0)[2]).tolist()
    return Index(first, total, float(errors[0]), float(errors[1]))
