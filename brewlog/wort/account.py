"""The account of a brew day: its states, and the balances of water and extract that tie them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from brewlog.sucrose import density_float, density_slope_float, water_density_float
from brewlog.wort.reconcile import Array

STATES = (
    "mash_water",  # kg of water into the mash
    "malt_water",  # kg of moisture in the malt
    "sparge_water",  # kg of rinse water
    "dissolved",  # kg of extract dissolved at the end of the mash
    "first_wort",  # extract of the first wort
    "pre_volume",  # L at 20 degC
    "pre_extract",
    "post_volume",
    "post_extract",
    "fermenter_volume",
    "fermenter_extract",
    "held",  # L of water held by the drained grain
    "bound_water",  # kg of mash water that starch takes up, against the laboratory mash
    "evaporated",  # kg of water boiled off
    "loss",  # L of wort that stays behind between kettle and fermenter
    "boil_extract",  # kg of extract added in the boil
    "boil_water",  # kg of water added in the boil
    "fermenter_added_extract",
    "fermenter_added_water",
)
INDEX = {name: number for number, name in enumerate(STATES)}
STAGE_STATES: dict[str, tuple[str | None, str]] = {
    "first wort": (None, "first_wort"),
    "pre-boil": ("pre_volume", "pre_extract"),
    "post-boil": ("post_volume", "post_extract"),
    "fermenter": ("fermenter_volume", "fermenter_extract"),
}
WATER_20 = float(water_density_float(np.array(20.0))) / 1000.0
"""Kilograms in a litre of water at 20 degC."""
_VOLUMES = np.array([INDEX["pre_volume"], INDEX["post_volume"], INDEX["fermenter_volume"]])
_EXTRACTS = _VOLUMES + 1
_I = INDEX
_STRENGTH = 20.0  # kg of wort, to weigh a difference of strengths like the balances of extract


class Worts(NamedTuple):
    """Water and extract before the boil, after it and in the fermenter, with derivatives by volume and by strength."""

    extract: list[float]
    """[kg]"""
    extract_by_volume: list[float]
    extract_by_strength: list[float]
    water: list[float]
    """[kg]"""
    water_by_volume: list[float]
    water_by_strength: list[float]
    density: list[float]
    """[kg/L]"""
    density_by_strength: list[float]

    @classmethod
    def of(cls, x: Array) -> Worts:
        """Worts of a state of the account."""
        volume, w = x[_VOLUMES], x[_EXTRACTS]
        rho, drho = density_float(w, 20.0) / 1000.0, density_slope_float(w, 20.0) / 1000.0
        by_volume, by_strength = rho * w, volume * (rho + w * drho)
        columns = (
            volume * by_volume,
            by_volume,
            by_strength,
            volume * (rho - by_volume),
            rho - by_volume,
            volume * drho - by_strength,
            rho,
            drho,
        )
        return cls(*(column.tolist() for column in columns))


@dataclass(frozen=True)
class Account:
    """Balances of one brew day, as residuals and derivatives of its states.

    States beyond `STATES` are repeats of a reading; each must equal the state that it repeats.
    """

    no_rinse: bool = False
    """True where no rinse water was used: then kettle wort is first wort."""
    plain_transfer: bool = True
    """True where nothing is added in the fermenter: then its wort is as strong as that in the kettle."""
    repeats: tuple[int, ...] = field(default=())
    """State that each further state repeats."""

    def __call__(self, x: Array) -> tuple[Array, Array]:
        """Residuals of the balances, and their derivatives by the states."""
        n = 6 + self.no_rinse + len(self.repeats)
        residual, slope = np.zeros(n), np.zeros((n, x.shape[0]))
        state = dict(zip(STATES, x[: len(STATES)].tolist(), strict=True))
        worts = Worts.of(x)
        _mash(state, worts, residual, slope)
        _boil(state, worts, residual, slope)
        (_plain_transfer if self.plain_transfer else _transfer)(state, worts, residual, slope)
        equal = [(original, number, 1.0) for number, original in enumerate(self.repeats, start=len(STATES))]
        if self.no_rinse:
            equal.insert(0, (INDEX["first_wort"], INDEX["pre_extract"], _STRENGTH))
        for row, (one, other, scale) in enumerate(equal, start=6):
            residual[row] = scale * (x[one] - x[other])
            slope[row, one], slope[row, other] = scale, -scale
        return residual, slope


def _mash(state: dict[str, float], worts: Worts, r: Array, g: Array) -> None:
    """All liquid of the mash is as strong as the first wort; water poured in is in the kettle or held by the grain."""
    w = state["first_wort"]
    liquid = state["dissolved"] + state["mash_water"] + state["malt_water"] - state["bound_water"]
    r[0] = w * liquid - state["dissolved"]
    g[0, _I["first_wort"]] = liquid
    g[0, _I["dissolved"]] = w - 1.0
    g[0, [_I["mash_water"], _I["malt_water"]]] = w
    g[0, _I["bound_water"]] = -w
    poured = state["mash_water"] + state["malt_water"] + state["sparge_water"]
    r[1] = poured - worts.water[0] - state["held"] * WATER_20
    g[1, [_I["mash_water"], _I["malt_water"], _I["sparge_water"]]] = 1.0
    g[1, _I["pre_volume"]], g[1, _I["pre_extract"]] = -worts.water_by_volume[0], -worts.water_by_strength[0]
    g[1, _I["held"]] = -WATER_20


def _boil(state: dict[str, float], worts: Worts, r: Array, g: Array) -> None:
    """Extract stays, water leaves."""
    r[2] = worts.extract[0] + state["boil_extract"] - worts.extract[1]
    r[3] = worts.water[0] + state["boil_water"] - worts.water[1] - state["evaporated"]
    for stage, sign, volume, strength in (
        (0, 1.0, "pre_volume", "pre_extract"),
        (1, -1.0, "post_volume", "post_extract"),
    ):
        g[2, _I[volume]] = sign * worts.extract_by_volume[stage]
        g[2, _I[strength]] = sign * worts.extract_by_strength[stage]
        g[3, _I[volume]] = sign * worts.water_by_volume[stage]
        g[3, _I[strength]] = sign * worts.water_by_strength[stage]
    g[2, _I["boil_extract"]] = 1.0
    g[3, _I["boil_water"]], g[3, _I["evaporated"]] = 1.0, -1.0


def _plain_transfer(state: dict[str, float], worts: Worts, r: Array, g: Array) -> None:
    """Wort stays behind, as strong as the rest."""
    r[4] = _STRENGTH * (state["post_extract"] - state["fermenter_extract"])
    g[4, _I["post_extract"]], g[4, _I["fermenter_extract"]] = _STRENGTH, -_STRENGTH
    r[5] = state["post_volume"] - state["loss"] - state["fermenter_volume"]
    g[5, _I["post_volume"]], g[5, _I["loss"]], g[5, _I["fermenter_volume"]] = 1.0, -1.0, -1.0


def _transfer(state: dict[str, float], worts: Worts, r: Array, g: Array) -> None:
    """Wort stays behind, and extract or water joins in the fermenter."""
    loss, w = state["loss"], state["post_extract"]
    rho, drho = worts.density[1], worts.density_by_strength[1]
    r[4] = worts.extract[1] - loss * rho * w + state["fermenter_added_extract"] - worts.extract[2]
    g[4, _I["post_volume"]] = worts.extract_by_volume[1]
    g[4, _I["post_extract"]] = worts.extract_by_strength[1] - loss * (rho + w * drho)
    g[4, _I["loss"]], g[4, _I["fermenter_added_extract"]] = -rho * w, 1.0
    g[4, _I["fermenter_volume"]] = -worts.extract_by_volume[2]
    g[4, _I["fermenter_extract"]] = -worts.extract_by_strength[2]
    r[5] = worts.water[1] - loss * rho * (1.0 - w) + state["fermenter_added_water"] - worts.water[2]
    g[5, _I["post_volume"]] = worts.water_by_volume[1]
    g[5, _I["post_extract"]] = worts.water_by_strength[1] - loss * (drho * (1.0 - w) - rho)
    g[5, _I["loss"]], g[5, _I["fermenter_added_water"]] = -rho * (1.0 - w), 1.0
    g[5, _I["fermenter_volume"]] = -worts.water_by_volume[2]
    g[5, _I["fermenter_extract"]] = -worts.water_by_strength[2]
