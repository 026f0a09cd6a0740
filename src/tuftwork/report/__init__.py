"""The documents a client holds."""

from tuftwork.report.client import client_document, client_report, write_client_report

__all__ = ["client_document", "client_report", "write_client_report"]
