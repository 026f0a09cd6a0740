"""The main job: inputs assembled, engines run over ensembles and states, results kept."""

from tuftwork.study.bench import Bench
from tuftwork.study.registry import PAGES

__all__ = ["PAGES", "Bench"]
