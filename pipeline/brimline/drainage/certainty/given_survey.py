"""Ground that a survey leaves possible: drawn given the survey, not as another, rougher one."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy import fft, ndimage

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import Elevation

_BELLS: Final = (1.0, 2.0, 4.0, 8.0, 16.0)  # cells; the ground is split into bands between them
_AROUND: Final = 6.0  # bells over which a band's variance is taken
_CALM: Final = 0.25  # share of the ground taken as calm, where a band is error rather than relief
_CALMEST: Final = 0.10
_COUNTS: Final = 0.02  # share of the error from which a band says anything about it
_MARGIN: Final = 2.0  # correlation lengths between opposite edges of a drawn field
_COARSER: Final = (1, 1, 2, 4, 8)  # cells between which a band is drawn and weighed


@dataclass(frozen=True, slots=True)
class _Band:
    """What a band of a new error is multiplied by: wave by wave, then place by place."""

    waves: NDArray[np.float32]
    gain: NDArray[np.float32]
    apart: int


@dataclass(frozen=True, slots=True)
class _Model:
    """One correlation length: the likeliest ground, and how a new error is laid around it.

    Parameters
    ----------
    padded : rows and columns that errors are drawn on.
    bands : those in which the ground may be calmer than the error, shortest waves first.
    beyond : of each wave, what is longer than the bands.
    """

    likeliest: NDArray[np.float32]
    padded: tuple[int, int]
    bands: tuple[_Band, ...]
    beyond: NDArray[np.float32]


class GivenSurvey:
    """Surfaces that could lie under a survey whose errors are normal and alike over a distance.

    The survey is split into bands of wavelength. In each band, and around each place, what the
    survey shows is the ground's variance plus the error's. Where the error could make up all of
    it, a drawn surface is as smooth there as the ground may be; where the ground is far rougher,
    the error is left whole around the survey. So with V the variance shown, E the error's and
    g = max(0, 1 - E / V), a band of the drawn ground is g times the survey's band plus √g times
    the band of a new error: mean and variance of a normal ground given a normal error, whose own
    variance V it then has. Adding error to the survey instead would draw rougher ground than
    there is.

    The error cannot be larger than the survey is rough where the ground is calmest: a model whose
    error exceeds that is scaled down. What is rough from cell to cell in the calmest tenth is
    taken as error of single cells, up to the stated error.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata. Not modified.
    cell_m : side of a cell [m].
    rmse_m : root mean square error of the survey [m].
    correlations_m : correlation lengths that are taken in turn [m].

    References
    ----------
    Journel & Huijbregts (1978), Mining Geostatistics (conditioning a simulated field); Wiener
    (1949), Extrapolation, Interpolation, and Smoothing of Stationary Time Series (citations from
    memory)
    """

    def __init__(
        self, dem: Elevation, *, cell_m: float, rmse_m: float, correlations_m: Sequence[float]
    ) -> None:
        valid = ~np.isnan(dem)
        # a whole number, so that the same ground a thousand metres higher is drawn alike
        self.datum_m = float(np.floor(np.nanmin(dem)))
        ground = (dem.astype(np.float64) - self.datum_m).astype(np.float32)
        self._ground = ground
        self._models: tuple[_Model, ...] = ()
        if rmse_m == 0:
            return
        bands = _split(ground, valid)
        self._shown_m2 = [
            _mean_around(band * band, valid, _AROUND * bell)
            for band, bell in zip(bands, _BELLS, strict=True)
        ]
        self._calm_m2 = [np.quantile(shown[valid], (_CALMEST, _CALM)) for shown in self._shown_m2]
        self._models = tuple(
            self._model(bands, rmse_m, length_m / cell_m) for length_m in correlations_m
        )

    def draw(self, number: int, random: np.random.Generator) -> Elevation:
        """Draw one surface above `datum_m`, by the model whose turn it is.

        Returns
        -------
        float32 (rows, cols) [m]
        """
        if not self._models:
            return self._ground.copy()
        model = self._models[number % len(self._models)]
        rows, cols = self._ground.shape
        white = _white_waves(model.padded, random)
        total = white * model.beyond
        near = []
        for band in model.bands:
            side = tuple(length // band.apart for length in model.padded)
            error = fft.irfft2(_longer(white, band.apart) * band.waves, s=side, overwrite_x=True)
            error *= band.gain
            if band.apart == 1:
                near.append(error)
            else:
                _add_longer(total, fft.rfft2(error, overwrite_x=True))
        drawn = fft.irfft2(total, s=model.padded, overwrite_x=True)[:rows, :cols]
        for error in near:
            drawn += error[:rows, :cols]
        drawn += model.likeliest
        return np.ascontiguousarray(drawn, dtype=np.float32)

    def _model(self, bands: list[NDArray[np.float32]], rmse_m: float, reach: float) -> _Model:
        shape = self._ground.shape
        margin = math.ceil(min(_MARGIN * reach, max(shape)))
        padded = tuple(
            _COARSER[-1] * fft.next_fast_len(-(-(side + margin) // _COARSER[-1]), real=True)
            for side in shape
        )
        wave = (
            2.0
            * np.pi
            * np.hypot(fft.fftfreq(padded[0])[:, np.newaxis], fft.rfftfreq(padded[1])).astype(
                np.float32
            )
        )
        passes = _passes(wave)
        held = np.full(wave.shape[1], 2.0)  # a real field's spectrum holds half its waves
        held[[0, -1]] = 1.0

        def variances(power: NDArray[np.float32]) -> list[float]:
            """Of each band of white noise that is given this power."""
            return [float((power * passed**2 @ held).mean()) / padded[1] for passed in passes]

        power = np.exp(-0.25 * (reach * wave) ** 2)
        power *= rmse_m**2 * padded[1] / float((power @ held).mean())
        error_m2 = variances(power)
        ratios = [
            calm_m2[1] / error_m2[band]
            for band, calm_m2 in enumerate(self._calm_m2)
            if error_m2[band] > _COUNTS * sum(error_m2)
        ]
        power *= min(1.0, *ratios) if ratios else 1.0
        alone = variances(np.ones_like(wave))[0]
        power += min(self._calm_m2[0][0] / alone, rmse_m**2)
        error_m2 = variances(power)
        amplitude = np.sqrt(power, dtype=np.float32)
        likeliest = self._ground.copy()
        weighed = []
        for number, band in enumerate(bands):
            gain = np.maximum(
                1.0 - np.float32(error_m2[number]) / np.maximum(self._shown_m2[number], 1e-12), 0.0
            )
            likeliest -= (1.0 - gain) * band
            apart = _COARSER[number]
            weighed.append(
                _Band(
                    waves=(_longer(amplitude * passes[number], apart) / apart**2).astype(
                        np.float32
                    ),
                    gain=_beyond_edges(np.sqrt(gain[::apart, ::apart]), padded, apart),
                    apart=apart,
                )
            )
        return _Model(likeliest, padded, tuple(weighed), amplitude * passes[-1])


def _white_waves(padded: tuple[int, int], random: np.random.Generator) -> NDArray[np.complex64]:
    """Spectrum of white noise of standard deviation 1, as `irfft2` takes it."""
    rows, cols = padded
    white: NDArray[np.complex64] = random.standard_normal(
        (rows, 2 * (cols // 2 + 1)), dtype=np.float32
    ).view(np.complex64)
    white *= np.float32(math.sqrt(0.5 * rows * cols))
    # of waves along the columns alone, and of the shortest, only the real part of what they give
    # is used, which is half of their variance
    white[:, [0, -1]] *= np.float32(math.sqrt(2.0))
    return white


def _longer(waves: NDArray[Any], apart: int) -> NDArray[Any]:
    """Return those waves that a grid of cells so far apart can hold."""
    if apart == 1:
        return waves
    half, cols = waves.shape[0] // (2 * apart), (waves.shape[1] - 1) // apart + 1
    return np.concatenate((waves[:half, :cols], waves[-half:, :cols]))


def _add_longer(total: NDArray[np.complex64], longer: NDArray[np.complex64]) -> None:
    """Add the waves of a coarser grid to those of a finer one."""
    apart2 = np.float32((total.shape[0] // longer.shape[0]) ** 2)
    half, cols = longer.shape[0] // 2, longer.shape[1]
    longer *= apart2
    total[:half, :cols] += longer[:half]
    total[-half:, :cols] += longer[-half:]


def _beyond_edges(
    gain: NDArray[np.float32], padded: tuple[int, int], apart: int
) -> NDArray[np.float32]:
    """Go on past the grid with what holds at its edge."""
    more = [length // apart - side for length, side in zip(padded, gain.shape, strict=True)]
    return np.pad(gain, [(0, extra) for extra in more], mode="edge").astype(np.float32)


def _passes(wave: NDArray[np.float32]) -> list[NDArray[np.float32]]:
    """Return what each band lets through of each wave, the longest last; they sum to 1."""
    left = [np.exp(-0.5 * (bell * wave) ** 2) for bell in _BELLS]
    shorter = [1.0 - left[0]]
    shorter += [fine - coarse for fine, coarse in itertools.pairwise(left)]
    return [*shorter, left[-1]]


def _split(ground: NDArray[np.float32], valid: NDArray[np.bool_]) -> list[NDArray[np.float32]]:
    """Bands of the ground, 0 at nodata; what is longer than the last is not among them."""
    bands, finer = [], np.where(valid, ground, 0)
    weights = None if valid.all() else valid.astype(np.float32)
    filled = finer
    for bell in _BELLS:
        coarser = ndimage.gaussian_filter(filled, bell, mode="mirror")
        if weights is not None:
            near = ndimage.gaussian_filter(weights, bell, mode="mirror")
            coarser = np.where(valid, coarser / np.maximum(near, 1e-6), 0)
        bands.append(finer - coarser)
        finer = coarser
    return bands


def _mean_around(
    values: NDArray[np.float32], valid: NDArray[np.bool_], bell: float
) -> NDArray[np.float32]:
    """Mean around each cell, by two boxes that together spread as far as the bell."""
    size = 2 * math.ceil(bell * math.sqrt(6.0) / 2.0) + 1
    total: NDArray[np.float32] = values
    near = None if valid.all() else valid.astype(np.float32)
    for _ in range(2):
        total = ndimage.uniform_filter(total, size, mode="mirror")
        near = None if near is None else ndimage.uniform_filter(near, size, mode="mirror")
    return total if near is None else total / np.maximum(near, np.float32(1e-6))
