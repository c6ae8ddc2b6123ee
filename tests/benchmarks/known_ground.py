"""Seeded sites of known ground: the true surface, a survey of it, and intakes drawn on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft

from brimline.drainage.catchments import snap
from brimline.drainage.certainty.moving import nearest_alike
from brimline.drainage.flow import accumulate, flow_directions
from brimline.terrain.conditioning import fill

SIDE, CELL_M = 150, 2.0
RADIUS_M, PATH_M2 = 10.0, 500.0
KINDS = ("fractal", "valley", "glacial", "terraced")
# what the survey truly did to the ground, whatever it declares: (rmse_m, correlation_m, shape)
ERRORS = {
    "own model": ((0.10, 10.0, "gaussian"),),
    "white": ((0.07, 0.0, "gaussian"),),
    "short": ((0.10, 4.0, "exponential"),),
    "long": ((0.10, 40.0, "gaussian"),),
    "mixed": ((0.07, 20.0, "exponential"), (0.05, 0.0, "gaussian")),
}


@dataclass(frozen=True)
class Site:
    kind: str
    error: str
    true_dem: np.ndarray
    dem: np.ndarray
    cells: np.ndarray
    area_m2: np.ndarray
    true_m2: np.ndarray
    largest_m2: np.ndarray


def spectral(random, side, power, shortest=0.0):
    """Random ground of a power law, standard deviation 1, nothing shorter than so many cells."""
    size = 2 * side
    wave = np.hypot(fft.fftfreq(size)[:, None], fft.rfftfreq(size)[None, :])
    wave[0, 0] = 1.0
    amplitude = wave ** (-power / 2) * np.exp(-((wave * shortest) ** 2))
    amplitude[0, 0] = 0.0
    drawn = fft.irfft2(fft.rfft2(random.standard_normal((size, size))) * amplitude)
    drawn = drawn[:side, :side]
    return (drawn - drawn.mean()) / drawn.std()


def true_ground(kind, random, side=SIDE):
    row, col = np.indices((side, side)) / side
    if kind == "fractal":
        dem = 2.5 * spectral(random, side, 3.6) + 4.0 * row
    elif kind == "valley":
        shift = 0.5 + 0.15 * np.sin(2 * np.pi * (row + random.random()))
        dem = 20.0 * (col - shift) ** 2 + random.uniform(3, 9) * row
        dem += 0.6 * spectral(random, side, 4.0, 4.0)
    elif kind == "glacial":
        dem = 1.5 * spectral(random, side, 3.0, 6.0) + 3.0 * row
        for _ in range(12):  # kettles
            r, c, wide = random.random(), random.random(), random.uniform(0.02, 0.06)
            dem -= random.uniform(0.3, 2.0) * np.exp(-((row - r) ** 2 + (col - c) ** 2) / wide**2)
    else:
        smooth = 2.0 * spectral(random, side, 4.0, 6.0) + 8.0 * row
        step = 1.0
        level, part = np.divmod(smooth, step)
        dem = step * (
            level + np.clip((part / step - 0.8) / 0.2, 0.0, 1.0) * 0.9 + 0.1 * part / step
        )
    return (dem - dem.min() + 100.0).astype(np.float32)


def survey_error(name, random, side=SIDE, cell_m=CELL_M):
    total = np.zeros((side, side))
    for rmse_m, correlation_m, shape in ERRORS[name]:
        size = side + int(4 * correlation_m / cell_m)
        lag = np.minimum(np.arange(size), size - np.arange(size)) * cell_m
        far = np.hypot(lag[:, None], lag[None, :])
        if correlation_m == 0:
            alike = (far == 0).astype(float)
        elif shape == "gaussian":
            alike = np.exp(-((far / correlation_m) ** 2))
        else:
            alike = np.exp(-far / correlation_m)
        power = np.maximum(fft.fft2(alike).real, 0.0)
        drawn = fft.ifft2(fft.fft2(random.standard_normal((size, size))) * np.sqrt(power)).real
        total += rmse_m * drawn[:side, :side]
    return total.astype(np.float32)


def gathered_m2(dem):
    directions = flow_directions(fill(dem))
    return directions, accumulate(directions) * CELL_M**2


def true_area_m2(true_m2, cells, surveyed_m2):
    """Area on the true ground as the range means it, and the largest within the radius."""
    radii = np.full(len(cells), RADIUS_M)
    same = nearest_alike(cells, true_m2, expected_m2=surveyed_m2, radii_m=radii, cell_m=CELL_M)
    row, col = np.indices(true_m2.shape)
    largest = [
        true_m2[CELL_M * np.hypot(row - at_row, col - at_col) <= RADIUS_M].max()
        for at_row, at_col in cells
    ]
    return true_m2[tuple(same.T)], np.array(largest)


def site(kind, error, seed, count=4):
    random = np.random.default_rng([KINDS.index(kind), list(ERRORS).index(error), seed])
    true_dem = true_ground(kind, random)
    dem = true_dem + survey_error(error, random)
    directions, area_m2 = gathered_m2(dem)
    _, true_m2 = gathered_m2(true_dem)
    # half of the points drawn where water truly runs, half where the survey shows it
    points = []
    for number in range(count):
        shown = true_m2 if number % 2 else area_m2
        inner = np.zeros_like(shown, dtype=bool)
        inner[4:-4, 4:-4] = True
        paths = np.argwhere(inner & (shown >= 2 * PATH_M2))
        if len(paths) == 0:
            continue
        size = np.log(shown[tuple(paths.T)])
        weight = (
            1.0
            / np.maximum(np.histogram(size, 6)[0], 1)[
                np.clip(np.digitize(size, np.histogram(size, 6)[1]) - 1, 0, 5)
            ]
        )
        point = paths[random.choice(len(paths), p=weight / weight.sum())]
        points.append(point + random.normal(0.0, 0.5, 2))
    snapped = snap(
        points, area_m2, directions, cell_m=CELL_M, radius_m=RADIUS_M, min_area_m2=PATH_M2
    )
    same_m2, largest_m2 = true_area_m2(true_m2, snapped.cells, snapped.area_m2)
    return Site(kind, error, true_dem, dem, snapped.cells, snapped.area_m2, same_m2, largest_m2)
