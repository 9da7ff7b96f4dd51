"""The rod element: strains, end forces and their exact derivative, for all elements at once.

Two nodes with places and rotations. The strains of an element are the chord seen from the frame half way
between its two end rotations (stretch and shear), and the relative rotation over the length (twist and
bending); they do not change when the whole is moved rigidly. This is the geometrically exact rod
(Simo JC 1985 Comput Methods Appl Mech Eng 49:55-70; objective strains from relative rotation: Crisfield MA,
Jelenic G 1999 Proc R Soc A 455:1125-1147; both from memory) with one point of integration. The shear
stiffness is 12 EI / h^2: with it the element is, in the small, exactly the Euler-Bernoulli beam
(residual bending flexibility, MacNeal RH 1978 Comput Struct 8:175-183, from memory), so nothing locks
and the rod does not shear. Reference elements are straight chords of the curved wire joined at angles.

Derivatives are by spin: a change of rotation is exp(d theta) from the left, in the global frame.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from mechanics.rod import quaternion as quat
from mesh_tools.arrays import Array

SMALL = 0.05


@dataclass(frozen=True, eq=False)
class ElementState:
    """What every element carries: frames (n, 3, 3) half way, force (n, 3) and moment (n, 3) in that frame
    (along the wire, then across), strains, and the relative rotation vector ``phi`` (n, 3)."""

    frame: Array
    chord_strain: Array
    phi: Array
    force_n: Array
    moment_n_mm: Array


def strain_state(
    chord_mm: Array, q1: Array, q2: Array, *, length_mm: Array, stretch: Array, bend: Array
) -> ElementState:
    """State of elements with chord (n, 3) and end frames ``q1``, ``q2`` (n, 4).

    ``stretch`` (n, 3): EA and two shear stiffnesses in N; ``bend`` (n, 3): GJ, EI, EI in N mm2.
    """
    relative = quat.product(quat.conjugate(q1), q2)
    relative = np.where(relative[:, :1] < 0.0, -relative, relative)
    phi = quat.to_vector(relative)
    middle = quat.product(q1, quat.normalised(relative + quat.IDENTITY))
    frame = quat.to_matrix(middle)
    gamma = np.einsum("nji,nj->ni", frame, chord_mm) / length_mm[:, None]
    strain = gamma - np.array([1.0, 0.0, 0.0])
    return ElementState(frame, gamma, phi, stretch * strain, bend * phi / length_mm[:, None])


def stored_energy(state: ElementState, *, length_mm: Array) -> float:
    """Elastic energy of all elements in N mm."""
    strain = state.chord_strain - np.array([1.0, 0.0, 0.0])
    return float(
        0.5 * (np.sum(length_mm[:, None] * state.force_n * strain) + np.sum(state.moment_n_mm * state.phi))
    )


def end_forces(state: ElementState, *, length_mm: Array) -> Array:
    """Forces (n, 12) of the nodes on the element: force and moment at the first end, then at the second."""
    q, p = _end_moments(state, length_mm)
    force = np.einsum("nij,nj->ni", state.frame, state.force_n)
    first = np.einsum("nij,nj->ni", state.frame, 0.5 * p - q)
    second = np.einsum("nij,nj->ni", state.frame, 0.5 * p + q)
    return np.concatenate([-force, first, force, second], axis=1)


def predicted(
    state: ElementState, steps: Array, *, length_mm: Array, stretch: Array, bend: Array
) -> ElementState:
    """The state with the forces that steps (n, 12) of the ends bring to first order, at unchanged places.

    A tangent built on these converges in few iterations where the wire hardly stretches: the forces of the
    places themselves hold large false tensions on the way (mixed integration points: Magisano D, Leonetti L,
    Garcea G 2017 Int J Numer Methods Eng 110:362-386, from memory). In balance both are the same.
    """
    move, first, second = (
        np.einsum("nji,nj->ni", state.frame, v)
        for v in (steps[:, 6:9] - steps[:, 0:3], steps[:, 3:6], steps[:, 9:12])
    )
    phi, apart = state.phi, second - first
    g, _, c, _ = _coefficients(np.einsum("ni,ni->n", phi, phi))
    middle = 0.5 * (first + second) - c[:, None] * crossed(phi, apart)
    d_gamma = move / length_mm[:, None] + crossed(state.chord_strain, middle)
    d_phi = apart + g[:, None] * crossed(phi, crossed(phi, apart))
    force = state.force_n + stretch * d_gamma
    return replace(state, force_n=force, moment_n_mm=state.moment_n_mm + bend * d_phi / length_mm[:, None])


def tangent(state: ElementState, *, length_mm: Array, stretch: Array, bend: Array) -> Array:
    """Derivative (n, 12, 12) of ``end_forces`` by the moves and spins of both ends.

    Away from equilibrium it is not symmetric (spins do not commute); at equilibrium the assembled one is.
    """
    h = length_mm[:, None, None]
    n, m, phi, gamma = state.force_n, state.moment_n_mm, state.phi, state.chord_strain
    eye = np.eye(3)
    g, dg, c, dc = _coefficients(np.einsum("ni,ni->n", phi, phi))
    phi_x, n_x, gamma_x, m_x = skews(phi), skews(n), skews(gamma), skews(m)
    inverse = eye + g[:, None, None] * (phi_x @ phi_x)
    middle = np.zeros((len(h), 3, 9))
    lever = c[:, None, None] * phi_x
    middle[:, :, 3:6], middle[:, :, 6:9] = 0.5 * eye + lever, 0.5 * eye - lever
    d_gamma = gamma_x @ middle
    d_gamma[:, :, 0:3] += eye / h
    d_phi = np.zeros_like(middle)
    d_phi[:, :, 3:6], d_phi[:, :, 6:9] = -inverse, inverse
    d_n = stretch[:, :, None] * d_gamma
    d_p = h * (n_x @ d_gamma - gamma_x @ d_n)
    q, p = _end_moments(state, length_mm)
    p_x = skews(p)
    phi_m = crossed(phi, m)
    phi_phi_m = crossed(phi, phi_m)
    along = 2.0 * np.einsum("ni,nij->nj", phi, d_phi)
    by_phi = -g[:, None, None] * (skews(phi_m) + phi_x @ m_x) - c[:, None, None] * p_x
    d_q = inverse @ (bend[:, :, None] * d_phi / h) + by_phi @ d_phi + lever @ d_p
    shift = dg[:, None] * phi_phi_m - dc[:, None] * crossed(p, phi)
    d_q += shift[:, :, None] * along[:, None, :]
    d_force = d_n - n_x @ middle
    d_first = 0.5 * d_p - d_q - skews(0.5 * p - q) @ middle
    d_second = 0.5 * d_p + d_q - skews(0.5 * p + q) @ middle
    return _spread(state.frame, d_force, d_first, d_second)


def crossed(a: Array, b: Array) -> Array:
    """Cross products (n, 3) of rows; several times faster than numpy's own on few rows."""
    out = np.empty(a.shape)
    out[:, 0] = a[:, 1] * b[:, 2] - a[:, 2] * b[:, 1]
    out[:, 1] = a[:, 2] * b[:, 0] - a[:, 0] * b[:, 2]
    out[:, 2] = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return out


def skews(v: Array) -> Array:
    """Matrices (n, 3, 3) of the cross products with ``v`` (n, 3)."""
    out = np.zeros((len(v), 3, 3))
    out[:, 0, 1], out[:, 0, 2], out[:, 1, 2] = -v[:, 2], v[:, 1], -v[:, 0]
    out[:, 1, 0], out[:, 2, 0], out[:, 2, 1] = v[:, 2], -v[:, 1], v[:, 0]
    return out


def _end_moments(state: ElementState, length_mm: Array) -> tuple[Array, Array]:
    """The antisymmetric part q (n, 3) and the sum p (n, 3) of the two end moments in the half-way frame."""
    phi, m = state.phi, state.moment_n_mm
    g, _, c, _ = _coefficients(np.einsum("ni,ni->n", phi, phi))
    p = length_mm[:, None] * crossed(state.force_n, state.chord_strain)
    q = m + g[:, None] * crossed(phi, crossed(phi, m)) - c[:, None] * crossed(p, phi)
    return q, p


def _coefficients(t: Array) -> tuple[Array, Array, Array, Array]:
    """g, dg/dt, c, dc/dt of the squared angle ``t``.

    g = (1 - b)/t with b = (a/2)/sin(a/2), and c = tan(a/4)/(2 a), a = sqrt(t): the spin of the relative
    rotation is b, and that of the half-way frame c, times the difference of the end spins.
    """
    big = np.where(t > SMALL, t, 1.0)
    a = np.sqrt(big)
    half, quarter = 0.5 * a, 0.25 * a
    b = half / np.sin(half)
    db = (b / big) * 0.5 * (1.0 - half / np.tan(half))
    c = np.tan(quarter) / (2.0 * a)
    dc = (0.125 / np.cos(quarter) ** 2 - c) / (2.0 * big)
    g = (1.0 - b) / big
    dg = (-db - g) / big
    series = [np.polyval(k[::-1], t) for k in _SERIES]
    exact = [g, dg, c, dc]
    pairs = zip(exact, series, strict=True)
    first, second, third, fourth = (np.where(t > SMALL, e, s) for e, s in pairs)
    return first, second, third, fourth


def _spread(frame: Array, force: Array, first: Array, second: Array) -> Array:
    """From the half-way frame's 9 columns (chord, spin 1, spin 2) to the 12 global unknowns of two ends."""
    local = np.concatenate([force, first, second], axis=1).reshape(-1, 3, 3, 3, 3)
    globally = np.einsum(
        "nai,nrisj,nbj->nrasb", frame, local, frame, optimize=["einsum_path", (0, 1), (0, 1)]
    )
    force, first, second = globally[:, 0], globally[:, 1], globally[:, 2]
    rows = np.stack([-force, first, force, second], axis=1)
    out = np.empty((len(frame), 4, 3, 4, 3))
    out[:, :, :, 0], out[:, :, :, 2] = -rows[:, :, :, 0], rows[:, :, :, 0]
    out[:, :, :, 1], out[:, :, :, 3] = rows[:, :, :, 1], rows[:, :, :, 2]
    return out.reshape(-1, 12, 12)


def _series() -> tuple[Array, Array, Array, Array]:
    """Power series in t of g, dg, c, dc (x/sin x and tan x / x)."""
    g = -np.array([1 / 6 / 4, 7 / 360 / 16, 31 / 15120 / 64, 127 / 604800 / 256, 73 / 3421440 / 1024])
    c = np.array([1.0, 1 / 3, 2 / 15, 17 / 315, 62 / 2835, 1382 / 155925]) / 8.0 / 16.0 ** np.arange(6)
    return g, g[1:] * np.arange(1, 5), c, c[1:] * np.arange(1, 6)


_SERIES = _series()
