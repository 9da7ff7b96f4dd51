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
from functools import cached_property

import numpy as np

from mechanics.rod import quaternion as quat
from mesh_tools.arrays import Array

SMALL = 0.05
EYE = np.eye(3)
STRAIGHT = np.array([1.0, 0.0, 0.0])


@dataclass(frozen=True, eq=False)
class ElementState:
    """What every element carries: frames (n, 3, 3) half way, force (n, 3) and moment (n, 3) in that frame
    (along the wire, then across), strains, and the relative rotation vector ``phi`` (n, 3).

    ``length_mm`` (n,); ``stretch`` (n, 3): EA and two shear stiffnesses in N; ``bend`` (n, 3): GJ, EI, EI in
    N mm2.
    """

    frame: Array
    chord_strain: Array
    phi: Array
    force_n: Array
    moment_n_mm: Array
    length_mm: Array
    stretch: Array
    bend: Array

    @cached_property
    def squared_angle(self) -> Array:
        """Square (n,) of the relative rotation's angle."""
        return np.asarray(np.einsum("ni,ni->n", self.phi, self.phi))

    @cached_property
    def spin_terms(self) -> tuple[Array, Array]:
        """g and c (n, 1) of the squared angle (see ``spin_terms``)."""
        g, c = spin_terms(self.squared_angle)
        return g[:, None], c[:, None]

    @cached_property
    def end_moments(self) -> tuple[Array, Array]:
        """The antisymmetric part q (n, 3) and the sum p (n, 3) of both end moments, in the half-way frame."""
        phi, m = self.phi, self.moment_n_mm
        g, c = self.spin_terms
        p = self.length_mm[:, None] * crossed(self.force_n, self.chord_strain)
        return m + g * crossed(phi, crossed(phi, m)) - c * crossed(p, phi), p


def strain_state(
    chord_mm: Array, q1: Array, q2: Array, *, length_mm: Array, stretch: Array, bend: Array
) -> ElementState:
    """State of elements with chord (n, 3) and end frames ``q1``, ``q2`` (n, 4)."""
    relative = quat.product(quat.conjugate(q1), q2)
    relative = np.where(relative[:, :1] < 0.0, -relative, relative)
    phi = quat.to_vector(relative)
    middle = quat.product(q1, quat.normalised(relative + quat.IDENTITY))
    frame = quat.to_matrix(middle)
    gamma = np.einsum("nji,nj->ni", frame, chord_mm) / length_mm[:, None]
    force = stretch * (gamma - STRAIGHT)
    return ElementState(frame, gamma, phi, force, bend * phi / length_mm[:, None], length_mm, stretch, bend)


def stored_energy(state: ElementState) -> float:
    """Elastic energy of all elements in N mm."""
    stretching = state.length_mm[:, None] * state.force_n * (state.chord_strain - STRAIGHT)
    return float(0.5 * (np.sum(stretching) + np.sum(state.moment_n_mm * state.phi)))


def end_forces(state: ElementState) -> Array:
    """Forces (n, 12) of the nodes on the element: force and moment at the first end, then at the second."""
    q, p = state.end_moments
    out = np.empty((len(p), 4, 3))
    local = np.stack([state.force_n, 0.5 * p - q, 0.5 * p + q], axis=1)
    out[:, 1:] = (local @ state.frame.transpose(0, 2, 1))[:, [1, 0, 2]]
    out[:, 0] = -out[:, 2]
    return out.reshape(-1, 12)


def predicted(state: ElementState, steps: Array) -> ElementState:
    """The state with the forces that steps (n, 12) of the ends bring to first order, at unchanged places.

    A tangent built on these converges in few iterations where the wire hardly stretches: the forces of the
    places themselves hold large false tensions on the way (mixed integration points: Magisano D, Leonetti L,
    Garcea G 2017 Int J Numer Methods Eng 110:362-386, from memory). In balance both are the same.
    """
    both = steps.reshape(-1, 4, 3)
    local = np.stack([both[:, 2] - both[:, 0], both[:, 1], both[:, 3]], axis=1) @ state.frame
    move, first, second = local[:, 0], local[:, 1], local[:, 2]
    phi, apart = state.phi, second - first
    g, c = state.spin_terms
    middle = 0.5 * (first + second) - c * crossed(phi, apart)
    d_gamma = move / state.length_mm[:, None] + crossed(state.chord_strain, middle)
    d_phi = apart + g * crossed(phi, crossed(phi, apart))
    force = state.force_n + state.stretch * d_gamma
    return with_forces(state, force, state.moment_n_mm + state.bend * d_phi / state.length_mm[:, None])


def with_forces(state: ElementState, force_n: Array, moment_n_mm: Array) -> ElementState:
    """The same strains with other forces and moments (n, 3)."""
    return replace(state, force_n=force_n, moment_n_mm=moment_n_mm)


def tangent(state: ElementState) -> Array:
    """Derivative (n, 12, 12) of ``end_forces`` by the moves and spins of both ends.

    Away from equilibrium it is not symmetric (spins do not commute); at equilibrium the assembled one is.
    """
    h = state.length_mm[:, None, None]
    m, phi = state.moment_n_mm, state.phi
    (g, c), (dg, dc) = state.spin_terms, spin_slopes(state.squared_angle)
    q, p = state.end_moments
    phi_m = crossed(phi, m)
    columns = [phi, state.force_n, state.chord_strain, m, p, phi_m, 0.5 * p - q, 0.5 * p + q]
    phi_x, n_x, gamma_x, m_x, p_x, phi_m_x, first_x, second_x = _skew_stack(columns)
    inverse = EYE + g[:, :, None] * (phi_x @ phi_x)
    lever = c[:, :, None] * phi_x
    middle = np.zeros((len(h), 3, 9))
    middle[:, :, 3:6], middle[:, :, 6:9] = 0.5 * EYE + lever, 0.5 * EYE - lever
    d_gamma = gamma_x @ middle
    d_gamma[:, :, 0:3] += EYE / h
    d_phi = np.zeros_like(middle)
    d_phi[:, :, 3:6], d_phi[:, :, 6:9] = -inverse, inverse
    d_n = state.stretch[:, :, None] * d_gamma
    d_p = h * (n_x @ d_gamma - gamma_x @ d_n)
    along = 2.0 * phi[:, None, :] @ d_phi
    by_phi = -g[:, :, None] * (phi_m_x + phi_x @ m_x) - c[:, :, None] * p_x
    shift = dg[:, None] * crossed(phi, phi_m) - dc[:, None] * crossed(p, phi)
    d_q = inverse @ (state.bend[:, :, None] * d_phi / h) + by_phi @ d_phi + lever @ d_p
    d_q += shift[:, :, None] * along
    out = np.empty((len(h), 3, 3, 9))
    out[:, 0] = d_n - n_x @ middle
    out[:, 1] = 0.5 * d_p - d_q - first_x @ middle
    out[:, 2] = 0.5 * d_p + d_q - second_x @ middle
    return _spread(state.frame, out.reshape(-1, 9, 9))


def crossed(a: Array, b: Array) -> Array:
    """Cross products (n, 3) of rows; several times faster than numpy's own on few rows."""
    out = np.empty(a.shape)
    out[:, 0] = a[:, 1] * b[:, 2] - a[:, 2] * b[:, 1]
    out[:, 1] = a[:, 2] * b[:, 0] - a[:, 0] * b[:, 2]
    out[:, 2] = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return out


def skews(v: Array) -> Array:
    """Matrices (..., 3, 3) of the cross products with ``v`` (..., 3)."""
    out = np.zeros((*v.shape, 3))
    out[..., 0, 1], out[..., 0, 2], out[..., 1, 2] = -v[..., 2], v[..., 1], -v[..., 0]
    out[..., 1, 0], out[..., 2, 0], out[..., 2, 1] = v[..., 2], -v[..., 1], v[..., 0]
    return out


def _skew_stack(columns: list[Array]) -> Array:
    return skews(np.stack(columns))


def spin_terms(t: Array) -> tuple[Array, Array]:
    """g and c (n,) of the squared angle ``t``.

    g = (1 - b)/t with b = (a/2)/sin(a/2), and c = tan(a/4)/(2 a), a = sqrt(t): the relative rotation vector
    turns by 1 + g phi x phi x, and the half-way frame by c phi x, times the difference of the end spins.
    """
    g, c = _horner(_G, t), _horner(_C, t)
    large = t > SMALL
    if bool(large.any()):
        big = t[large]
        a = np.sqrt(big)
        g[large] = (1.0 - 0.5 * a / np.sin(0.5 * a)) / big
        c[large] = np.tan(0.25 * a) / (2.0 * a)
    return g, c


def spin_slopes(t: Array) -> tuple[Array, Array]:
    """Derivatives (n,) of ``spin_terms`` by ``t``."""
    dg, dc = _horner(_DG, t), _horner(_DC, t)
    large = t > SMALL
    if bool(large.any()):
        big = t[large]
        half = 0.5 * np.sqrt(big)
        b = half / np.sin(half)
        dg[large] = (-0.5 * (b / big) * (1.0 - half / np.tan(half)) - (1.0 - b) / big) / big
        dc[large] = (0.125 / np.cos(0.5 * half) ** 2 - np.tan(0.5 * half) / (4.0 * half)) / (2.0 * big)
    return dg, dc


def _horner(coefficients: Array, t: Array) -> Array:
    out = np.full(t.shape, coefficients[-1])
    for k in coefficients[-2::-1]:
        out *= t
        out += k
    return out


def _spread(frame: Array, local: Array) -> Array:
    """From the half-way frame's rows (force, two moments) and columns (chord, two spins), (n, 9, 9), to the 12
    global unknowns of both ends."""
    inward = frame.transpose(0, 2, 1)
    ends = np.zeros((len(frame), 9, 12))
    ends[:, 0:3, 0:3], ends[:, 0:3, 6:9] = -inward, inward
    ends[:, 3:6, 3:6], ends[:, 6:9, 9:12] = inward, inward
    return np.asarray(ends.transpose(0, 2, 1) @ (local @ ends))


# Power series in t of g and c (x/sin x and tan x / x) and of their derivatives.
_G: Array = -np.array([1 / 6 / 4, 7 / 360 / 16, 31 / 15120 / 64, 127 / 604800 / 256, 73 / 3421440 / 1024])
_C: Array = np.array([1.0, 1 / 3, 2 / 15, 17 / 315, 62 / 2835, 1382 / 155925]) / 8.0 / 16.0 ** np.arange(6)
_DG, _DC = _G[1:] * np.arange(1.0, 5.0), _C[1:] * np.arange(1.0, 6.0)
