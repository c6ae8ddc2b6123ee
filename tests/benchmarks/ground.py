"""Ground to measure on: seeded, fractal, with hollows of every size and survey noise."""

import numpy as np
from scipy import fft

from brimline.drainage.flow import accumulate, flow_directions
from brimline.grid import D_COL, D_ROW, OUTLET
from brimline.terrain.conditioning import fill


def terrain(side, seed=1):
    """Spectral ground whose roughness does not depend on its size, tilted, with 3 cm of noise.

    About a sixth of it lies in hollows and one cell in sixty is a pit, which is between a
    mountain survey (a twentieth in hollows) and glacial ground (nearly half).
    """
    random = np.random.default_rng(seed)
    wave = np.hypot(fft.fftfreq(side)[:, None], fft.rfftfreq(side)[None, :]).astype(np.float32)
    wave[0, 0] = np.inf
    phase = random.random(wave.shape, dtype=np.float32)
    spectrum = wave**-2 * np.exp(np.complex64(2j * np.pi) * phase)
    dem = fft.irfft2(spectrum, (side, side)) * np.float32(0.008 * side)
    dem += 0.05 * np.arange(side, dtype=np.float32)[:, None]
    dem += 0.03 * random.standard_normal((side, side), dtype=np.float32)
    return (dem - dem.min() + 100).astype(np.float32)


def nested_intakes(dem, count=20):
    """Row and column of intakes along the largest stream, from its mouth to its upper reaches."""
    directions = flow_directions(fill(dem))
    caught = accumulate(directions)
    outlets = np.argwhere(directions == OUTLET)
    row, col = outlets[np.argmax(caught[tuple(outlets.T)])]
    stem = []
    least = caught[row, col] / 100
    while caught[row, col] > least:
        stem.append((row, col))
        donors = []
        for k in range(8):
            r, c = row + D_ROW[k], col + D_COL[k]
            inside = 0 <= r < dem.shape[0] and 0 <= c < dem.shape[1]
            if inside and directions[r, c] == k ^ 4:
                donors.append((caught[r, c], r, c))
        _, row, col = max(donors)
    return np.array(stem)[np.linspace(0, len(stem) - 1, count).astype(int)]
