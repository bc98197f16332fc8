"""What a thermal model does with given constants."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from brewlog.rig.linear import Model
from brewlog.rig.series import Series


def states(
    model: Model, series: Series, constants: Mapping[str, float], starts: np.ndarray, room_shift: float = 0.0
) -> np.ndarray:
    """Every state of the model at every row, exactly, shape (rows, states). [degC]

    Parameters
    ----------
    model : Model
    series : Series
        Readings are not used.
    constants : mapping of str to float
    starts : array_like, shape (1 to 3,)
        Temperatures at the first row: base; bed, or its top and bottom. [degC]
    room_shift : float
        Added to the room. [K]

    Returns
    -------
    numpy.ndarray
    """
    from brewlog.rig.kinds import model_steps
    from brewlog.rig.passes import simulate

    logs = np.log([float(constants[name]) for name in model.constants])
    kind, kinds = series.steps
    n, m = model.starts.shape[0], model.drives
    p, _ = model_steps(logs, *model.wiring, kinds, n, m, False)
    drive = np.ascontiguousarray(series.drive[:, :m])
    if room_shift:
        drive = drive + np.array([0.0, room_shift, 0.0])[:m]
    phi, gamma = np.ascontiguousarray(p[..., :n]), np.ascontiguousarray(p[..., n:])
    return simulate(phi, gamma, kind, drive, model.starts @ np.asarray(starts, float))


def modelled(
    model: Model, series: Series, constants: Mapping[str, float], starts: np.ndarray, room_shift: float = 0.0
) -> np.ndarray:
    """Readings that base sensor and bed probe would give, shape (rows, 2). [degC]"""
    out = states(model, series, constants, starts, room_shift) @ model.outputs.T
    out[:, 1] += float(constants.get("probe_offset", 0.0))
    return out


def squares(model: Model, series: Series, trials: Sequence[Mapping[str, float]], starts: np.ndarray) -> np.ndarray:
    """Sum of squared residuals for each of several sets of constants, shape (trials,). [K^2]"""
    from brewlog.rig.passes import trial_squares

    logs = np.log([[float(trial[name]) for name in model.constants] for trial in trials])
    seen = np.isfinite(series.readings)
    return trial_squares(
        logs, *model.wiring, series.steps[1], series.steps[0], np.ascontiguousarray(series.drive[:, : model.drives]),
        model.starts @ np.asarray(starts, float), model.outputs, np.where(seen, series.readings, 0.0), seen * 1.0,
    )  # fmt: skip
