"""Local linear trend of the equivalent radius: Kalman filter and smoother, many lesions at once.

State: radius r [mm] and its trend v [mm/d]. Times may be any distance apart; a time without an observation is
carried through, so a curve on a fine grid is exact and no interpolation.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clinic.healing.errors import SeriesError

__all__ = ["Filtered", "Smoothed", "TrendModel", "filter_trend", "smooth_trend"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class TrendModel:
    """Constants of the model.

    Parameters
    ----------
    level_noise : float
        Variance a day that the radius gains beside its trend. [mm²/d]
    trend_noise : float
        Variance a day that the trend gains. [mm²/d³]
    start_trend, start_spread : float
        Mean and standard deviation of the trend before any area is known. [mm/d]
    break_spread : float
        Standard deviation added to the trend at a change of device, plan, debridement or perfusion. [mm/d]
    """

    level_noise: float
    trend_noise: float
    start_trend: float
    start_spread: float
    break_spread: float

    def __post_init__(self) -> None:
        for name in ("level_noise", "trend_noise", "start_spread", "break_spread"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value >= 0):
                raise SeriesError(f"{name}: {value:g} is not a finite number of 0 or more")
        if not math.isfinite(self.start_trend):
            raise SeriesError(f"start_trend: {self.start_trend:g} mm/d is not a finite number")


@dataclass(frozen=True, slots=True)
class Filtered:
    """Estimates at each time from the observations up to it.

    Parameters
    ----------
    level, trend : (N, K) ndarray
        Radius [mm] and trend [mm/d].
    level_var, cross, trend_var : (N, K) ndarray
        Their variances and covariance. [mm², mm²/d, mm²/d²]
    log_likelihood : (N,) ndarray
        Of the observations after the first, which sets the level. [-]
    """

    level: Floats
    trend: Floats
    level_var: Floats
    cross: Floats
    trend_var: Floats
    log_likelihood: Floats


@dataclass(frozen=True, slots=True)
class Smoothed:
    """Estimates at each time from all observations; shapes and units as in ``Filtered``."""

    level: Floats
    trend: Floats
    level_var: Floats
    cross: Floats
    trend_var: Floats


def filter_trend(
    times: Floats, radii: Floats, variances: Floats, widen: Floats, model: TrendModel
) -> Filtered:
    """Kalman filter of the local linear trend.

    Parameters
    ----------
    times : (N, K) ndarray
        Times of each lesion, never falling; repeat the last to pad a short one. [d]
    radii : (N, K) ndarray
        Observed radius, NaN where there is none; the first must be one. [mm]
    variances : (N, K) ndarray
        Variance of each observation; ignored where there is none. [mm²]
    widen : (N, K) ndarray
        Count of breaks right after each time. [-]
    model : TrendModel
        Constants.

    Returns
    -------
    Filtered
        Estimates at each time.

    Raises
    ------
    SeriesError
        If times fall, or a first observation is missing.

    Notes
    -----
    r' = v + w₁, v' = w₂ with white noises of intensity ``level_noise`` a and ``trend_noise`` b. Over a step
    Δ: F = [[1, Δ], [0, 1]], Q = [[aΔ + bΔ³/3, bΔ²/2], [bΔ²/2, bΔ]] [1]_. The first observation sets the
    level, which equals a diffuse start of the level; the trend starts from the model's prior.

    References
    ----------
    .. [1] Harvey AC, Forecasting, structural time series models and the Kalman filter, 1989 (continuous-time
       local linear trend; page from memory).
    """
    steps = np.diff(times, axis=1)
    if (steps < 0).any():
        raise SeriesError("times: a step is negative, the limit is 0 days")
    if np.isnan(radii[:, 0]).any():
        raise SeriesError("radii: the first one is missing, it must be observed")
    shape = times.shape
    level, trend, p11, p12, p22 = (np.empty(shape) for _ in range(5))
    loglik = np.zeros(shape[0])
    level[:, 0], trend[:, 0] = radii[:, 0], model.start_trend
    p11[:, 0], p12[:, 0], p22[:, 0] = variances[:, 0], 0.0, model.start_spread**2
    seen = ~np.isnan(radii)
    for k in range(1, shape[1]):
        d = steps[:, k - 1]
        m, v, a11, a12, a22 = _predict(
            level[:, k - 1],
            trend[:, k - 1],
            p11[:, k - 1],
            p12[:, k - 1],
            p22[:, k - 1],
            widen[:, k - 1],
            d,
            model,
        )
        on = seen[:, k]
        noise = np.where(on, variances[:, k], 1.0)
        spread = a11 + noise
        gap = np.where(on, radii[:, k] - m, 0.0)
        gain1, gain2 = np.where(on, a11 / spread, 0.0), np.where(on, a12 / spread, 0.0)
        level[:, k], trend[:, k] = m + gain1 * gap, v + gain2 * gap
        # (1 - gain1)·a11 written as a product keeps the variance positive in rounding.
        kept = np.where(on, noise / spread, 1.0)
        p11[:, k], p12[:, k] = a11 * kept, a12 * kept
        p22[:, k] = np.maximum(a22 - gain2 * a12, 0.0)
        loglik -= np.where(on, 0.5 * (np.log(2.0 * np.pi * spread) + gap**2 / spread), 0.0)
    return Filtered(level, trend, p11, p12, p22, loglik)


def smooth_trend(times: Floats, widen: Floats, filtered: Filtered, model: TrendModel) -> Smoothed:
    """Rauch-Tung-Striebel smoother over the result of ``filter_trend``.

    Parameters
    ----------
    times, widen : (N, K) ndarray
        As given to the filter.
    filtered : Filtered
        Its result.
    model : TrendModel
        The same constants.

    Returns
    -------
    Smoothed
        Estimates at each time given all observations.

    Notes
    -----
    C = P Fᵀ P₋⁻¹, x̂ = x + C(x̂₊ − x₋), P̂ = P + C(P̂₊ − P₋)Cᵀ [1]_. Where two times coincide and no break
    lies between them the step is the identity and the later estimate is taken over.

    References
    ----------
    .. [1] Rauch HE, Tung F, Striebel CT, AIAA Journal 1965;3:1445-1450.
    """
    level, trend = filtered.level.copy(), filtered.trend.copy()
    s11, s12, s22 = filtered.level_var.copy(), filtered.cross.copy(), filtered.trend_var.copy()
    steps = np.diff(times, axis=1)
    for k in range(times.shape[1] - 2, -1, -1):
        d = steps[:, k]
        p11, p12, p22 = filtered.level_var[:, k], filtered.cross[:, k], filtered.trend_var[:, k]
        m, v, a11, a12, a22 = _predict(
            filtered.level[:, k], filtered.trend[:, k], p11, p12, p22, widen[:, k], d, model
        )
        still = (d == 0) & (widen[:, k] == 0)
        # P Fᵀ, then times the inverse of the predicted covariance.
        f11, f12, f21, f22 = p11 + d * p12, p12, p12 + d * p22, p22
        det = np.where(still, 1.0, a11 * a22 - a12**2)
        det = np.maximum(det, np.finfo(float).tiny)
        c11 = np.where(still, 1.0, (f11 * a22 - f12 * a12) / det)
        c12 = np.where(still, 0.0, (f12 * a11 - f11 * a12) / det)
        c21 = np.where(still, 0.0, (f21 * a22 - f22 * a12) / det)
        c22 = np.where(still, 1.0, (f22 * a11 - f21 * a12) / det)
        e1, e2 = level[:, k + 1] - m, trend[:, k + 1] - v
        d11, d12, d22 = s11[:, k + 1] - a11, s12[:, k + 1] - a12, s22[:, k + 1] - a22
        level[:, k] += c11 * e1 + c12 * e2
        trend[:, k] += c21 * e1 + c22 * e2
        s11[:, k] = np.maximum(p11 + c11**2 * d11 + 2 * c11 * c12 * d12 + c12**2 * d22, 0.0)
        s12[:, k] = p12 + c11 * c21 * d11 + (c11 * c22 + c12 * c21) * d12 + c12 * c22 * d22
        s22[:, k] = np.maximum(p22 + c21**2 * d11 + 2 * c21 * c22 * d12 + c22**2 * d22, 0.0)
    return Smoothed(level, trend, s11, s12, s22)


def _predict(
    level: Floats,
    trend: Floats,
    p11: Floats,
    p12: Floats,
    p22: Floats,
    widen: Floats,
    d: Floats,
    model: TrendModel,
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    wide = p22 + widen * model.break_spread**2
    a, b = model.level_noise, model.trend_noise
    return (
        level + d * trend,
        trend,
        p11 + 2.0 * d * p12 + d**2 * wide + a * d + b * d**3 / 3.0,
        p12 + d * wide + b * d**2 / 2.0,
        wide + b * d,
    )
