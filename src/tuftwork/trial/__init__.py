"""Test days: planned, looked through for faults, reduced, held against the model."""

from tuftwork.trial.agreement import BiasField, learn_bias
from tuftwork.trial.coastdown import Resistance, coasting_time, speed_after
from tuftwork.trial.coastfit import CoastFit, CoastRun, fit_coastdown
from tuftwork.trial.compare import Difference, compare, runs_needed
from tuftwork.trial.cure import CURES, Cure, with_cures
from tuftwork.trial.fault import Hypothesis, Suspects, find_faults, repaired
from tuftwork.trial.log import ROLES, Channel, Log, resample
from tuftwork.trial.passes import Gates, PassTable, Run, find_passes
from tuftwork.trial.plan import PlanWish, plan_day
from tuftwork.trial.reduction import Reduction, SpeedResult, reduce_passes, uncertainty_budget
from tuftwork.trial.setup import MassLoads, Setup, with_cured_doubt

__all__ = [
    "CURES",
    "ROLES",
    "BiasField",
    "Channel",
    "CoastFit",
    "CoastRun",
    "Cure",
    "Difference",
    "Gates",
    "Hypothesis",
    "Log",
    "MassLoads",
    "PassTable",
    "PlanWish",
    "Reduction",
    "Resistance",
    "Run",
    "Setup",
    "SpeedResult",
    "Suspects",
    "coasting_time",
    "compare",
    "find_faults",
    "find_passes",
    "fit_coastdown",
    "learn_bias",
    "plan_day",
    "reduce_passes",
    "repaired",
    "resample",
    "runs_needed",
    "speed_after",
    "uncertainty_budget",
    "with_cured_doubt",
    "with_cures",
]
