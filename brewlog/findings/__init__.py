"""Findings: one row per brew, efficiency against tightness, why it changed, and the next experiment."""

from brewlog.findings.change import Change, explain_change
from brewlog.findings.effects import Effect
from brewlog.findings.experiment import Experiment, plan_experiment
from brewlog.findings.priors import default_priors
from brewlog.findings.relating import relate
from brewlog.findings.relation import Relation
from brewlog.findings.table import brew_table

__all__ = [
    "Change",
    "Effect",
    "Experiment",
    "Relation",
    "brew_table",
    "default_priors",
    "explain_change",
    "plan_experiment",
    "relate",
]
