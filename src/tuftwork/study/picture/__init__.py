"""Reading pictures as a job of the study: solved once per set of marks, live, and saved."""

from tuftwork.study.picture.desk import Desk, desk_of
from tuftwork.study.picture.page import reading_chain, reading_page, support_of_reading

__all__ = ["Desk", "desk_of", "reading_chain", "reading_page", "support_of_reading"]
