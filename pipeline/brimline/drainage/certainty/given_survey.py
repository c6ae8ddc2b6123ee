"""Ground that a survey leaves possible: drawn given the survey, not as another, rougher one."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

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
_MARGIN: Final = 3.0  # correlation lengths between opposite edges of a drawn field


@dataclass(frozen=True, slots=True)
class _Model:
    """One correlation length: the error's spectrum, its variance a band, the likeliest ground."""

    spectrum: NDArray[np.float32]
    variance_m2: tuple[float, ...]
    likeliest: NDArray[np.float32]


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
        self._shape = dem.shape
        self._valid = ~np.isnan(dem)
        # a whole number, so that the same ground a thousand metres higher is drawn alike
        self.datum_m = float(np.floor(np.nanmin(dem)))
        ground = (dem.astype(np.float64) - self.datum_m).astype(np.float32)
        margin = math.ceil(min(_MARGIN * max(correlations_m) / cell_m, max(dem.shape)))
        self._padded = tuple(fft.next_fast_len(side + margin, real=True) for side in dem.shape)
        wave = (
            2.0
            * np.pi
            * np.hypot(
                fft.fftfreq(self._padded[0])[:, np.newaxis], fft.rfftfreq(self._padded[1])
            ).astype(np.float32)
        )
        self._weight = np.full(wave.shape[1], 2.0)  # a real field's spectrum holds half its waves
        self._weight[0] = 1.0
        if self._padded[1] % 2 == 0:
            self._weight[-1] = 1.0
        self._passes = _passes(wave)
        self._none = rmse_m == 0
        if self._none:
            self._models = [_Model(np.zeros_like(wave), (), ground)]
            return
        bands = _split(ground, self._valid)
        self._shown_m2 = [
            _mean_around(band * band, self._valid, _AROUND * bell)
            for band, bell in zip(bands, _BELLS, strict=True)
        ]
        self._models = [
            self._model(ground, bands, wave, rmse_m, length_m / cell_m)
            for length_m in correlations_m
        ]

    def draw(self, number: int, random: np.random.Generator) -> Elevation:
        """Draw one surface above `datum_m`, by the model whose turn it is.

        Returns
        -------
        float32 (rows, cols) [m]
        """
        model = self._models[number % len(self._models)]
        drawn = model.likeliest.copy()
        if self._none:
            return drawn
        rows, cols = self._shape
        spectrum = fft.rfft2(random.standard_normal(self._padded, dtype=np.float32))
        spectrum *= model.spectrum
        for band, passed in enumerate(self._passes):
            error = fft.irfft2(spectrum * passed, s=self._padded)[:rows, :cols]
            if band < len(self._shown_m2):
                error *= np.sqrt(self._gain(band, model.variance_m2[band]))
            drawn += error
        return drawn

    def _gain(self, band: int, error_m2: float) -> NDArray[np.float32]:
        shown = np.maximum(self._shown_m2[band], np.float32(1e-12))
        gain: NDArray[np.float32] = np.maximum(1.0 - np.float32(error_m2) / shown, 0.0)
        return gain

    def _variance(self, power: NDArray[np.float32]) -> tuple[float, ...]:
        """Variance of each band of white noise that is given this power."""
        cells = self._padded[0] * self._padded[1]
        return tuple(
            float((power * passed**2 @ self._weight).sum() / cells) for passed in self._passes
        )

    def _model(
        self,
        ground: NDArray[np.float32],
        bands: list[NDArray[np.float32]],
        wave: NDArray[np.float32],
        rmse_m: float,
        reach: float,
    ) -> _Model:
        power = np.exp(-0.25 * (reach * wave) ** 2)
        cells = self._padded[0] * self._padded[1]
        power *= rmse_m**2 * cells / float((power @ self._weight).sum())
        error_m2 = self._variance(power)
        held = [
            self._calm_m2(band, _CALM) / error_m2[band]
            for band in range(len(bands))
            if error_m2[band] > _COUNTS * sum(error_m2)
        ]
        power *= min(1.0, *held) if held else 1.0
        alone = self._variance(np.ones_like(wave))[0]
        power += min(self._calm_m2(0, _CALMEST) / alone, rmse_m**2)
        error_m2 = self._variance(power)
        likeliest = ground.copy()
        for number, band in enumerate(bands):
            likeliest -= (1.0 - self._gain(number, error_m2[number])) * band
        return _Model(np.sqrt(power, dtype=np.float32), error_m2, likeliest)

    def _calm_m2(self, band: int, share: float) -> float:
        return float(np.quantile(self._shown_m2[band][self._valid], share))


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
