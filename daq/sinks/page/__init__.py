"""The page: what a bench shows to a browser, and what may be touched there."""

from daq.sinks.page.documents import Books, Document
from daq.sinks.page.settings import PageSettings, kept_token, link
from daq.sinks.page.sink import PageBench, PageSink

__all__ = ["Books", "Document", "PageBench", "PageSettings", "PageSink", "kept_token", "link"]
