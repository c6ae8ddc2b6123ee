"""The least change that two surveys can tell, at one place and as a mean over an area."""

from __future__ import annotations

import math

from scipy.special import ndtri


def detection_t(confidence: float) -> float:
    """Return the two-sided normal deviate, 1.96 at 0.95.

    Raises
    ------
    ValueError
        If `confidence` is not between 0 and 1.
    """
    if not 0 < confidence < 1:
        raise ValueError(f"a confidence lies between 0 and 1, got {confidence}")
    return float(ndtri(0.5 + confidence / 2))


def detection_level_m(then_m: float, now_m: float, t: float) -> float:
    """Return the least detectable change of level, t √(σ1² + σ2²).

    Parameters
    ----------
    then_m, now_m : standard error of height of the two surveys [m].
    t : deviate of the confidence wanted, see `detection_t`.

    Raises
    ------
    ValueError
        If an error is negative.

    References
    ----------
    Brasington, Langham & Rumsby (2003), doi:10.1016/S0169-555X(02)00320-3; Wheaton, Brasington,
    Darby & Sear (2010), doi:10.1002/esp.1886, equations 1 and 2 (numbers from memory).
    """
    if then_m < 0 or now_m < 0:
        raise ValueError(f"errors cannot be negative, got {then_m} m and {now_m} m")
    return t * math.hypot(then_m, now_m)


def mean_error_ratio(area_m2: float, correlation_m: float, cell_m: float) -> float:
    """Return how much smaller the error of a mean over an area is than that at one place.

    Errors a distance h apart correlate by exp(-(h / correlation_m)²), as elsewhere in brimline.
    One independent part then takes ∫ exp(-(h/L)²) 2π h dh = π L², and never less than a cell; the
    mean over n = area / part of them has 1/√n of the error, and over less than one part all of it.
    The same way as for glaciers with a spherical model, where a part takes π L² / 5.

    Parameters
    ----------
    area_m2 : area of the mean [m²].
    correlation_m : correlation length of the errors [m]; 0 makes each cell's error its own.
    cell_m : side of a cell [m].

    Raises
    ------
    ValueError
        If a size is out of range.

    References
    ----------
    Rolstad, Haug & Denby (2009), doi:10.3189/002214309789470950, equations 7 to 8 (numbers from
    memory): the integral of the correlation over the area.
    """
    if area_m2 < 0 or correlation_m < 0 or cell_m <= 0:
        raise ValueError(
            f"an area and a correlation length cannot be negative and a cell must have a size, got "
            f"{area_m2} m², {correlation_m} m and {cell_m} m"
        )
    if area_m2 == 0:
        return 1.0
    part_m2 = max(math.pi * correlation_m**2, cell_m**2)
    return min(1.0, math.sqrt(part_m2 / area_m2))


def several_at_once_t(confidence: float, chances: float) -> float:
    """Return the deviate that none of many independent places passes by chance (Bonferroni).

    Parameters
    ----------
    chances : how many places are looked at, at least 1 [places].
    """
    if not 0 < confidence < 1:
        raise ValueError(f"a confidence lies between 0 and 1, got {confidence}")
    return float(-ndtri((1 - confidence) / 2 / max(chances, 1.0)))
