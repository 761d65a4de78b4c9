"""The page: what a bench shows to a browser, and what may be touched there."""
