"""The main job: inputs assembled, engines run over ensembles and states, results kept."""

from tuftwork.study.bench import PAGES, Bench

__all__ = ["PAGES", "Bench"]
