"""The demo: an invented car, its invented truth, and a published component table."""

from tuftwork.demo.write import DEMOS, write_demo, write_prototype, write_student

__all__ = ["DEMOS", "write_demo", "write_prototype", "write_student"]
