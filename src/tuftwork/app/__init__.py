"""The local web app: one page per job, no physics. Serves what a workbench computes."""

from tuftwork.app.check import check_page
from tuftwork.app.serve import get_page, serve
from tuftwork.app.workbench import Progress, Workbench

__all__ = ["Progress", "Workbench", "check_page", "get_page", "serve"]
