"""One mash fitted again with some of its readings moved in time."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from brewlog.rig.daily import OFFSET_SD, START_SD, TYPICAL, DayFit, bed_part
from brewlog.rig.expectation import expectation
from brewlog.rig.fitting import ModelFit, fit_model
from brewlog.rig.rigfit import RigFit
from brewlog.rig.series import Series

TYPICAL_PART = 0.45
"""Part of the heat capacity in the bed where neither grist nor other brews tell it (common practice, no source). [1]"""


@dataclass(frozen=True)
class Restamped:
    """Fits of one mash against the shift of some of its readings, each made once.

    They start from what the rig's other brews lead one to expect, not from the day's own fit: that has bent flow and
    heat capacities to the wrong times.
    """

    day: DayFit
    fit: RigFit
    _made: dict[tuple[float, tuple[int, ...]], ModelFit | None] = field(default_factory=dict)

    def squares(self, shift: float, columns: tuple[int, ...]) -> float:
        """Mean square of the residuals with the readings moved back by `shift`; infinite where no fit is had. [K^2]

        Parameters
        ----------
        shift : float
            Positive: the readings were stamped too late. [s]
        columns : tuple of int
            0 the base sensor, 1 the bed probe.
        """
        found = self._at(shift, columns)
        return float("inf") if found is None else found.rms["pooled"] ** 2

    def counted(self, shift: float, columns: tuple[int, ...]) -> float:
        """How many residuals there are, correlated ones counted once. [1]"""
        found = self._at(shift, columns)
        if found is None:
            return float("nan")
        return sum(int(np.isfinite(r).sum()) for r in found.residuals) / found.inflation

    def _at(self, shift: float, columns: tuple[int, ...]) -> ModelFit | None:
        key = (shift, columns if shift else ())
        if key not in self._made:
            self._made[key] = self._again([moved(s, shift, columns) for s in self._series])
        return self._made[key]

    @property
    def _series(self) -> tuple[Series, ...]:
        return () if self.day.mash is None else self.day.mash.series

    def _again(self, series: list[Series]) -> ModelFit | None:
        start, priors = self._expected
        try:
            return fit_model(self.fit.model, series, start, fixed=("probe_lag",), priors=priors, start_sd=START_SD)
        except (ValueError, np.linalg.LinAlgError):
            return None

    @cached_property
    def _expected(self) -> tuple[dict[str, float], dict[str, tuple[float, float]]]:
        """Where the fits start, and priors: the other brews' constants, this brew's litres and kilograms."""
        day, fit = self.day, self.fit
        assert day.mash is not None
        told = expectation(fit, without=day.label)
        coupling = "bed_flow" if "bed_flow" in fit.model.constants else "bed_conductance"
        if day.inventory is None:
            total, sd, part = day.mash.constants["heat_capacity"], 0.05, TYPICAL_PART
        else:
            total, sd = day.inventory.total, max(day.inventory.sd / day.inventory.total, 0.005)
            part = bed_part(day.inventory)
        part = told.values["bed_part"] if np.isfinite(told.values["bed_part"]) else part
        start = {
            "heat_share": told.values["heat_share"],
            "heat_loss": told.values["heat_loss"],
            coupling: told.values["coupling"],
            "base_heat_capacity": (1 - part) * total,
            "mash_heat_capacity": part * total,
            **{n: fit[n] if np.isfinite(fit[n]) else TYPICAL[n] for n in ("probe_lag", "probe_offset")},
        }
        priors = {name: (start[name], told.sds[name]) for name in ("heat_share", "heat_loss")}
        priors |= {
            coupling: (start[coupling], told.sds["coupling"]),
            "mash_heat_capacity": (part * total, told.sds["bed_part"]),
            "heat_capacity": (total, sd),
            "room_shift": (0.0, day.day.room_sd),
            "probe_offset": (start["probe_offset"], OFFSET_SD / 2),
        }
        return start, priors


def moved(series: Series, shift: float, columns: tuple[int, ...]) -> Series:
    """The series with some readings moved `shift` seconds earlier; missing ones stay missing.

    Parameters
    ----------
    series : Series
    shift : float
        [s]
    columns : tuple of int
        0 the base sensor, 1 the bed probe.
    """
    readings = series.readings.copy()
    t = series.elapsed
    for i in columns:
        good = np.isfinite(readings[:, i])
        if good.sum() < 2:
            continue
        at = t + shift
        value = np.interp(at, t[good], readings[good, i], left=np.nan, right=np.nan)
        row = np.clip(np.searchsorted(t, at), 0, t.size - 1)
        readings[:, i] = np.where(good[row], value, np.nan)
    return replace(series, readings=readings)
