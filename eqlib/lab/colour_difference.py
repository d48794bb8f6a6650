"""How far apart two colours look: CIEDE2000, computed by scikit-image.

Source: G. Sharma, W. Wu and E. N. Dalal, Color Research and Application 30 (2005) 21-30, whose 34 published
pairs are the test; CIE 142:2001. The weights kL, kC and kH are 1.
"""

import numpy as np


def ciede2000(lab1, lab2):
    """The CIEDE2000 difference of two arrays of L*, a*, b* (last axis 3, broadcast together)."""
    from skimage.color import deltaE_ciede2000

    # The library wants both arrays with the same number of axes.
    return deltaE_ciede2000(
        *np.broadcast_arrays(np.asarray(lab1, dtype=float), np.asarray(lab2, dtype=float))
    )
