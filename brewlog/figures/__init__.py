"""Pictures: one function each, `ax=None` in, the Axes out. Styling beyond that is the caller's."""

from brewlog.figures.extract import plot_waterfall
from brewlog.figures.findings import plot_change, plot_relation
from brewlog.figures.history import plot_efficiency_history, plot_holds
from brewlog.figures.lead import plot_lead
from brewlog.figures.mash_day import plot_mash_day
from brewlog.figures.rig import plot_constants, plot_fit
from brewlog.figures.rig_days import plot_drift, plot_stretches

__all__ = [
    "plot_change",
    "plot_constants",
    "plot_drift",
    "plot_efficiency_history",
    "plot_fit",
    "plot_holds",
    "plot_lead",
    "plot_mash_day",
    "plot_relation",
    "plot_stretches",
    "plot_waterfall",
]
