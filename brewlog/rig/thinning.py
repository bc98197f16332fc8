"""Compiled: a trace on few even cells, to start a fit from.

Importing this module imports numba; the rest of the room does so only when something is computed.
"""

from __future__ import annotations

from numba import njit


@njit(cache=True)
def on_cells(elapsed, u, readings, weight, u_out, readings_out, weight_out):
    """Means of the inputs over even cells and readings at their beginnings.

    Every cell's input is the mean over its time, so that no heat is lost. A reading lies on the straight line through
    all readings within half a cell of it, or else, where there are fewer than three, on that between its neighbours if
    these are no further apart than two cells. The weights of each sensor keep their sum.

    Parameters
    ----------
    elapsed : array, shape (rows,)
        [s]
    u : array, shape (rows, m)
        Inputs from each row to the next.
    readings, weight : array, shape (rows, 2)
        [degC]; a reading of weight 0 is not there.
    u_out, readings_out, weight_out : arrays, shape (cells, m or 2)
        Overwritten.

    Returns
    -------
    float
        Length of a cell. [s]
    """
    rows, m = u.shape
    cells = u_out.shape[0]
    width = (elapsed[rows - 1] - elapsed[0]) / (cells - 1)
    per_width, row = 1 / width, 0
    for g in range(cells):
        begin = elapsed[0] + g * width
        for j in range(m):
            u_out[g, j] = 0.0
        if g == cells - 1:
            for j in range(m):
                u_out[g, j] = u[rows - 1, j]
            break
        while row < rows - 2 and elapsed[row + 1] <= begin:
            row += 1
        at, end = begin, begin + width
        z = row
        while at < end:
            until = end if z == rows - 2 else min(elapsed[z + 1], end)
            part = (until - at) * per_width
            for j in range(m):
                u_out[g, j] += u[z, j] * part
            at = until
            z += 1
    for o in range(2):
        before, after, row, whole, kept = -1, 0, 0, 0.0, 0.0
        for t in range(rows):
            whole += weight[t, o]
        for g in range(cells):
            at = elapsed[0] + g * width
            while after < rows and (weight[after, o] <= 0.0 or elapsed[after] < at - 1e-6):
                if weight[after, o] > 0.0:
                    before = after
                after += 1
            readings_out[g, o] = weight_out[g, o] = 0.0
            many, n, n_t, n_tt, n_y, n_ty = 0, 0.0, 0.0, 0.0, 0.0, 0.0
            while row < rows and elapsed[row] < at + 0.5 * width:
                w, t = weight[row, o], (elapsed[row] - at) * per_width
                if w > 0.0:
                    many, n, n_t, n_tt = many + 1, n + w, n_t + w * t, n_tt + w * t * t
                    n_y, n_ty = n_y + w * readings[row, o], n_ty + w * t * readings[row, o]
                row += 1
            spread = n * n_tt - n_t * n_t
            if many > 2 and spread > 1e-3 * n * n:
                readings_out[g, o], weight_out[g, o] = (n_tt * n_y - n_t * n_ty) / spread, n
            elif after == rows:
                if before >= 0 and at - elapsed[before] < 1e-3:
                    readings_out[g, o], weight_out[g, o] = readings[before, o], weight[before, o]
            elif elapsed[after] - at < 1e-6:
                readings_out[g, o], weight_out[g, o] = readings[after, o], weight[after, o]
            elif before >= 0 and elapsed[after] - elapsed[before] <= 2 * width:
                part = (at - elapsed[before]) / (elapsed[after] - elapsed[before])
                readings_out[g, o] = readings[before, o] + part * (readings[after, o] - readings[before, o])
                weight_out[g, o] = weight[after, o]
            kept += weight_out[g, o]
        if kept > 0.0:
            for g in range(cells):
                weight_out[g, o] *= whole / kept
    return width
