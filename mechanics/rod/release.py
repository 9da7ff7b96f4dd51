"""The wire, pinned in its tubes, let go into the play: the small contact problem, solved alone."""

from __future__ import annotations

import numpy as np
from scipy.linalg import block_diag

from mechanics.rod.contact import CENTRING_N_PER_MM, RIM_N_PER_MM, TubeContact
from mechanics.rod.model import RodState
from mechanics.rod.newton import factorised
from mechanics.rod.problem import RodProblem
from mesh_tools.arrays import Array

STEPS = 100
SETTLED_N = 1e-8


def relaxed(pinned: RodProblem, state: RodState) -> RodState:
    """The pinned wire let go into the play, to first order: where the rims would hold it.

    The wire's give at the tube ends is found from the factors of the pinned tangent; the small problem of
    that linear wire against the curved rims is then solved alone.
    """
    contact = pinned.contact
    assert isinstance(contact, TubeContact)
    matrix, _ = pinned.jacobian(state, share=1.0)
    factor = factorised(matrix)
    if factor is None:
        return state
    push = _unit_pushes(pinned, contact, state)
    answer = factor.solve(push)
    stiff = np.linalg.inv(push.T @ answer) - RIM_N_PER_MM * np.eye(push.shape[1])
    axes = contact.plane_axes
    pressed = np.einsum("kic,ki->kc", axes, contact.press(state)).ravel()
    seen = np.einsum("kic,ki->kc", axes, contact.seen_mm(state)).ravel()
    rest = _against_rims(contact, stiff, pressed, seen)
    anchors = rest - seen - (rim_force(contact, rest)[0] - pressed) / RIM_N_PER_MM
    step, molar = pinned.spread(answer @ (RIM_N_PER_MM * anchors))
    return state.moved(step, molar)


def _unit_pushes(pinned: RodProblem, contact: TubeContact, state: RodState) -> Array:
    """Loads (size, 2 k) of unit pushes across each tube end."""
    unknowns = pinned.pattern.groups[2]
    pushes = np.einsum("kin,kic->knc", contact.view(state), contact.plane_axes)
    out = np.zeros((pinned.size + 1, 2 * len(unknowns)))
    for k, (row, push) in enumerate(zip(unknowns, pushes, strict=True)):
        out[row, 2 * k : 2 * k + 2] = push
    return out[:-1]


def rim_force(contact: TubeContact, offset: Array) -> tuple[Array, Array]:
    """Rim forces (2 k,) and their derivative (2 k, 2 k) at offsets (2 k,) across the tubes."""
    axes = contact.plane_axes
    press, slope = contact.rim_press(np.einsum("kic,kc->ki", axes, offset.reshape(-1, 2)))
    blocks = axes.transpose(0, 2, 1) @ slope @ axes
    return np.einsum("kic,ki->kc", axes, press).ravel(), block_diag(*blocks)


def _against_rims(contact: TubeContact, stiff: Array, pressed: Array, seen: Array) -> Array:
    """Offsets (2 k,) where a wire of stiffness ``stiff``, pressing ``pressed`` at ``seen``, rests in the rims.

    Newton's method made to go downhill (curvatures taken by size); each step is halved until the slope along
    it has not turned. A resting place that is a saddle, as that of a wire balanced in its play, is left along
    its most unstable direction.
    """
    axes = contact.plane_axes
    rest = contact.resting(np.einsum("kic,kc->ki", axes, pressed.reshape(-1, 2)))
    offset: Array = np.einsum("kic,ki->kc", axes, rest).ravel()
    reach = float(contact.slack_mm.max())

    def pull(at: Array) -> tuple[Array, Array]:
        force, slope = rim_force(contact, at)
        return np.asarray(force - pressed + stiff @ (at - seen)), np.asarray(slope + stiff)

    gradient, slope = pull(offset)
    for _ in range(STEPS):
        curvature, ways = np.linalg.eigh(0.5 * (slope + slope.T))
        if float(np.abs(gradient).max()) < SETTLED_N:
            if curvature[0] >= 0.0:
                break
            offset = np.asarray(offset + 0.1 * reach * ways[:, 0])
            gradient, slope = pull(offset)
            continue
        step = -ways @ ((ways.T @ gradient) / np.maximum(np.abs(curvature), CENTRING_N_PER_MM))
        step *= min(1.0, reach / float(np.abs(step).max()))
        down, share = abs(float(gradient @ step)), 1.0
        gradient, slope = pull(offset + step)
        while float(gradient @ step) > 0.5 * down and share > 1e-4:
            share *= 0.5
            gradient, slope = pull(offset + share * step)
        offset = np.asarray(offset + share * step)
    return offset
