"""The account of a brew day: its states, and the balances of water and extract that tie them."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from brewlog.wort.reconcile import Array
from brewlog.wort.sucrose import density_float, density_slope_float
from brewlog.wort.water import water_density_float

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
        (wm, wg, ws, ed, w0, _, w1, v2, w2, v3, w3, held, bound, evaporated, loss, a2e, a2w, a3e, a3w) = x[
            : len(STATES)
        ].tolist()
        w = x[_EXTRACTS]
        volume = x[_VOLUMES]
        rho = density_float(w, 20.0) / 1000.0
        drho = density_slope_float(w, 20.0) / 1000.0
        extract = volume * rho * w
        water = volume * rho * (1.0 - w)
        e1, e2, e3 = extract.tolist()
        h1, h2, h3 = water.tolist()
        rho2 = float(rho[1])
        n = 6 + self.no_rinse + len(self.repeats)
        r = np.zeros(n)
        g = np.zeros((n, x.shape[0]))
        i = INDEX
        # derivatives of extract and water of each stage by volume and by extract
        de_dv, de_dw = rho * w, volume * (rho + w * drho)
        dh_dv, dh_dw = rho * (1.0 - w), volume * (drho * (1.0 - w) - rho)
        # mash: all liquid is as strong as the first wort
        r[0] = w0 * (ed + wm + wg - bound) - ed
        g[0, i["first_wort"]] = ed + wm + wg - bound
        g[0, i["dissolved"]] = w0 - 1.0
        g[0, i["mash_water"]] = g[0, i["malt_water"]] = w0
        g[0, i["bound_water"]] = -w0
        # lautering: water into the mash, the rinse and the malt is in the kettle or held by the grain
        r[1] = wm + wg + ws - h1 - held * WATER_20
        g[1, [i["mash_water"], i["malt_water"], i["sparge_water"]]] = 1.0
        g[1, i["pre_volume"]], g[1, i["pre_extract"]] = -dh_dv[0], -dh_dw[0]
        g[1, i["held"]] = -WATER_20
        # boil: extract stays, water leaves
        r[2] = e1 + a2e - e2
        g[2, i["pre_volume"]], g[2, i["pre_extract"]] = de_dv[0], de_dw[0]
        g[2, i["post_volume"]], g[2, i["post_extract"]] = -de_dv[1], -de_dw[1]
        g[2, i["boil_extract"]] = 1.0
        r[3] = h1 + a2w - h2 - evaporated
        g[3, i["pre_volume"]], g[3, i["pre_extract"]] = dh_dv[0], dh_dw[0]
        g[3, i["post_volume"]], g[3, i["post_extract"]] = -dh_dv[1], -dh_dw[1]
        g[3, i["boil_water"]], g[3, i["evaporated"]] = 1.0, -1.0
        if self.plain_transfer:
            # wort stays behind, as strong as the rest
            r[4] = 20.0 * (w2 - w3)
            g[4, i["post_extract"]], g[4, i["fermenter_extract"]] = 20.0, -20.0
            r[5] = v2 - loss - v3
            g[5, i["post_volume"]], g[5, i["loss"]], g[5, i["fermenter_volume"]] = 1.0, -1.0, -1.0
        else:
            de_loss, dh_loss = rho2 * w2, rho2 * (1.0 - w2)
            r[4] = e2 - loss * de_loss + a3e - e3
            g[4, i["post_volume"]] = de_dv[1]
            g[4, i["post_extract"]] = de_dw[1] - loss * (rho2 + w2 * drho[1])
            g[4, i["loss"]], g[4, i["fermenter_added_extract"]] = -de_loss, 1.0
            g[4, i["fermenter_volume"]], g[4, i["fermenter_extract"]] = -de_dv[2], -de_dw[2]
            r[5] = h2 - loss * dh_loss + a3w - h3
            g[5, i["post_volume"]] = dh_dv[1]
            g[5, i["post_extract"]] = dh_dw[1] - loss * (drho[1] * (1.0 - w2) - rho2)
            g[5, i["loss"]], g[5, i["fermenter_added_water"]] = -dh_loss, 1.0
            g[5, i["fermenter_volume"]], g[5, i["fermenter_extract"]] = -dh_dv[2], -dh_dw[2]
        row = 6
        if self.no_rinse:
            r[row] = 20.0 * (w0 - w1)
            g[row, i["first_wort"]], g[row, i["pre_extract"]] = 20.0, -20.0
            row += 1
        for number, original in enumerate(self.repeats, start=len(STATES)):
            r[row] = x[original] - x[number]
            g[row, original], g[row, number] = 1.0, -1.0
            row += 1
        return r, g
