"""Colour as an eye sees it, from linear light (R, G, B of IEC 61966-2-1's primaries, 1 a perfect white).

Differences are CIEDE2000 (scikit-image; tested against the pairs of Sharma, Wu and Dalal, Color Res. Appl. 30(1), 2005); contrast is the
ratio of WCAG 2.2; what a colour-blind eye sees follows Machado, Oliveira and Fernandes, IEEE Trans. Vis. Comput. Graph. 15(6), 2009, at
full severity, on linear light.
"""

from __future__ import annotations

import numpy as np

from ..basis.frames import Array

# IEC 61966-2-1, rows X, Y, Z; white is their sum (D65).
XYZ_OF_RGB = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
# CIE 15: where the cube root gives way to a line.
_SMALL, _SLOPE = (6 / 29) ** 3, (29 / 6) ** 2 / 3
# WCAG 2.2: the light that an eye gets from everything around.
AMBIENT = 0.05

# Machado and others 2009, severity 1, on linear R, G, B.
DEFICIENCIES = {
    "protan": np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]),
    "deutan": np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]),
    "tritan": np.array([[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]),
}


def lab_of(rgb: Array) -> Array:
    """CIE L*, a*, b* (..., 3) of linear light (..., 3)."""
    share = np.maximum(np.asarray(rgb, float), 0.0) @ XYZ_OF_RGB.T / XYZ_OF_RGB.sum(axis=1)
    root = np.where(share > _SMALL, np.cbrt(share), _SLOPE * share + 4 / 29)
    x, y, z = np.moveaxis(root, -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def luminance(rgb: Array) -> Array:
    """Relative luminance (...,) of linear light (..., 3)."""
    return np.asarray(np.maximum(np.asarray(rgb, float), 0.0) @ XYZ_OF_RGB[1])


def difference(one: Array, other: Array) -> float:
    """CIEDE2000 of two colours, linear light (3,)."""
    from skimage.color import deltaE_ciede2000

    return float(deltaE_ciede2000(lab_of(one), lab_of(other)))


def contrast(one: Array, other: Array) -> float:
    """WCAG's contrast ratio, 1 to 21."""
    light, dark = sorted((float(luminance(one)), float(luminance(other))), reverse=True)
    return (light + AMBIENT) / (dark + AMBIENT)


def seen_by(rgb: Array, deficiency: str) -> Array:
    """Linear light (..., 3) as someone with that deficiency (of DEFICIENCIES) sees it, for someone without."""
    return np.clip(np.asarray(rgb, float) @ DEFICIENCIES[deficiency].T, 0.0, None)
