"""How far apart two colours look: CIEDE2000.

Source: G. Sharma, W. Wu and E. N. Dalal, Color Research and Application 30 (2005) 21-30, whose 34 published
pairs are the test; CIE 142:2001. The weights kL, kC and kH are 1.
"""

import numpy as np

_25_TO_7 = 25.0**7


def ciede2000(lab1, lab2):
    """The CIEDE2000 difference of two arrays of L*, a*, b* (last axis 3, broadcast together)."""
    lab1, lab2 = np.broadcast_arrays(np.asarray(lab1, dtype=float), np.asarray(lab2, dtype=float))
    chroma = [np.hypot(lab[..., 1], lab[..., 2]) for lab in (lab1, lab2)]
    g = 0.5 * (1.0 - _saturating((chroma[0] + chroma[1]) / 2.0))
    a1, a2 = (1.0 + g) * lab1[..., 1], (1.0 + g) * lab2[..., 1]
    c1, c2 = np.hypot(a1, lab1[..., 2]), np.hypot(a2, lab2[..., 2])
    h1, h2 = _hue(a1, lab1[..., 2]), _hue(a2, lab2[..., 2])
    d_hue, mean_hue = _hue_step_and_mean(h1, h2, c1 * c2 == 0)
    mean_c, mean_l = (c1 + c2) / 2.0, (lab1[..., 0] + lab2[..., 0]) / 2.0
    term_l = (lab2[..., 0] - lab1[..., 0]) / _lightness_weight(mean_l)
    term_c = (c2 - c1) / (1.0 + 0.045 * mean_c)
    term_h = 2.0 * np.sqrt(c1 * c2) * np.sin(np.radians(d_hue) / 2.0)
    term_h = term_h / (1.0 + 0.015 * mean_c * _hue_weight(mean_hue))
    rotation = _blue_rotation(mean_c, mean_hue)
    total = term_l**2 + term_c**2 + term_h**2 + rotation * term_c * term_h
    return np.sqrt(np.maximum(total, 0.0))


def _saturating(chroma):
    seventh = chroma**7
    return np.sqrt(seventh / (seventh + _25_TO_7))


def _hue(a, b):
    return np.degrees(np.arctan2(b, a)) % 360.0


def _hue_step_and_mean(h1, h2, grey):
    """Signed hue step in (-180, 180] and the mean hue on the short way round; a grey has no hue."""
    step = h2 - h1
    step = np.where(step > 180.0, step - 360.0, np.where(step < -180.0, step + 360.0, step))
    total = h1 + h2
    far = np.abs(h1 - h2) > 180.0
    mean = np.where(far, np.where(total < 360.0, total + 360.0, total - 360.0), total) / 2.0
    return np.where(grey, 0.0, step), np.where(grey, total, mean)


def _lightness_weight(mean_l):
    offset = (mean_l - 50.0) ** 2
    return 1.0 + 0.015 * offset / np.sqrt(20.0 + offset)


def _hue_weight(mean_hue):
    angle = np.radians(mean_hue)
    return (
        1.0
        - 0.17 * np.cos(angle - np.radians(30.0))
        + 0.24 * np.cos(2.0 * angle)
        + 0.32 * np.cos(3.0 * angle + np.radians(6.0))
        - 0.20 * np.cos(4.0 * angle - np.radians(63.0))
    )


def _blue_rotation(mean_c, mean_hue):
    """The cross term that mends the blue region, where chroma and hue differences lean on each other."""
    spread = 30.0 * np.exp(-(((mean_hue - 275.0) / 25.0) ** 2))
    return -2.0 * _saturating(mean_c) * np.sin(np.radians(2.0 * spread))
