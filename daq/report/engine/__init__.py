"""The report of the test of an engine: one document of plain blocks, and how it becomes a page, a PDF, figures."""
