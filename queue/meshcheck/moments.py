"""Area, volume and moments of triangle bodies by the divergence theorem.

Each face and the reference point span a tetrahedron; its signed volume and moments are exact, and the sum over a
closed surface is exact too. For one tetrahedron the integral of x_i x_j is det / 120 * (sum over corners x_i x_j +
s_i s_j), s the sum of its corners (textbook result, written from memory; the tests compare it with closed forms and
with two libraries).
"""

from __future__ import annotations

import numpy as np
from numba import njit

from meshcheck.types import FloatArray, IntArray

AREA, VOLUME, FIRST, SECOND = 0, 1, slice(2, 5), slice(5, 11)  # columns of ``body_moments``


def body_moments(vertices: FloatArray, faces: IntArray, body: IntArray, bodies: int, origin: FloatArray) -> FloatArray:
    """Moments of every body about ``origin`` (3,), one row each.

    Returns (bodies, 11): area, volume, the integrals of x, y, z, and of xx, yy, zz, xy, yz, zx over the volume.
    """
    moments: FloatArray = _moments(vertices, faces, body, bodies, origin)
    return moments


@njit(cache=True, nogil=True)
def _moments(vertices, faces, body, bodies, origin):  # type: ignore[no-untyped-def]
    out = np.zeros((bodies, 11))
    a, b, c, s = np.empty(3), np.empty(3), np.empty(3), np.empty(3)
    for i in range(faces.shape[0]):
        for k in range(3):
            a[k] = vertices[faces[i, 0], k] - origin[k]
            b[k] = vertices[faces[i, 1], k] - origin[k]
            c[k] = vertices[faces[i, 2], k] - origin[k]
            s[k] = a[k] + b[k] + c[k]
        ux, uy, uz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
        wx, wy, wz = c[0] - a[0], c[1] - a[1], c[2] - a[2]
        nx, ny, nz = uy * wz - uz * wy, uz * wx - ux * wz, ux * wy - uy * wx
        det = a[0] * nx + a[1] * ny + a[2] * nz
        row = out[body[i]]
        row[0] += 0.5 * np.sqrt(nx * nx + ny * ny + nz * nz)
        row[1] += det / 6.0
        for k in range(3):
            m = (k + 1) % 3
            row[2 + k] += det * s[k] / 24.0
            row[5 + k] += det * (a[k] * a[k] + b[k] * b[k] + c[k] * c[k] + s[k] * s[k]) / 120.0
            row[8 + k] += det * (a[k] * a[m] + b[k] * b[m] + c[k] * c[m] + s[k] * s[m]) / 120.0
    return out
